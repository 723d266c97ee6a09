"""Bench files and amplifier files for simulated work."""
