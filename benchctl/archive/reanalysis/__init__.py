"""All figures of many runs computed again by the method of today, beside what is written; the runs stay as they are."""
