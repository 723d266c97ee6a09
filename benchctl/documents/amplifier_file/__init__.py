"""Amplifier files: rating plate, limits, and the physics of a simulated amplifier."""
