"""What shows that a run folder is still what the run left: hashes of its lines, its inputs and its files."""
