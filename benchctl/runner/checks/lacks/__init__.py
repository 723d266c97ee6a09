"""What the instruments of a bench lack by their driver files: what is said about it, and what is refused without it."""
