"""Pictures of several runs: their curves over each other, and how clearly their figures differ."""
