"""An index of run folders in the user's cache: its file, what is kept in it, and how it is brought up to date."""
