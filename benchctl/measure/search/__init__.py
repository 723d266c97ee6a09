"""The search for the highest clean level, with few records at full power."""
