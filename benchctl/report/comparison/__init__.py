"""Several runs side by side: what changed by more than its uncertainty, in words and in tables."""
