"""What went over the links of a bench: recorded, kept in a file, and given again as answers."""
