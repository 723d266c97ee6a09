"""How fast, as ratios inside one run, and how true: `python -m benchmarks`, `python -m benchmarks.coverage`."""
