"""A folder of runs: what each run was in short, an index of them, and how one is found. Reads without pandas."""
