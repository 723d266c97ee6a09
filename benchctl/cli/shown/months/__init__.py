"""What a person sees of months of runs: the life of a unit, and the drift of a bench."""
