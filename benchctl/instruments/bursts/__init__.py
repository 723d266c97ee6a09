"""Bursts, and pairs of tones, as a generator is told of them."""
