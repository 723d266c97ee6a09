"""Bursts as a generator is told of them."""
