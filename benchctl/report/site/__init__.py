"""A collection of runs as a static site: its pages, what they hold, and which files of it were made here."""
