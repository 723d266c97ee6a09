"""The numbers that a simulated bench is built from: its parts, and their true errors."""
