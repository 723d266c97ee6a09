"""Performs a plan, and goes on where an earlier part of a run ended."""
