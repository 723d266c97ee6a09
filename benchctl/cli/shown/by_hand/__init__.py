"""A terminal as a desk: keys, large figures, and the page that a person sees while they drive by hand."""
