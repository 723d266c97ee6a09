"""What a run folder holds for the fit: records thinned to what tells something, with noise and limits of error."""
