"""The parts of a page, each a function from what the folder tells to plain tables."""
