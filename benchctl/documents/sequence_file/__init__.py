"""Sequence files: steps, parameters, references."""
