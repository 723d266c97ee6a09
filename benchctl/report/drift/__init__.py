"""A bench's life: what the control charts of its zeros, gains and reference figures say, in words and in tables."""
