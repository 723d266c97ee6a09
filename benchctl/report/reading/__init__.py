"""What a run folder tells: its documents, its steps, and how it ended."""
