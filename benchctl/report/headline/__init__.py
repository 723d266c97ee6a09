"""One sentence on a run, written from its figures, with each number traceable to its figure."""
