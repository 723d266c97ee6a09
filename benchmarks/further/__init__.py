"""Whether a further step tells as much as `benchctl fit --next` has promised, on dry runs."""
