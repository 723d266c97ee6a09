"""Figures as people read them: their names in words, their values with prefixes and sensible digits."""
