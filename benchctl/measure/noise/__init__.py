"""Noise of a silent output: its spectrum, the lines in it, and what of it is the instrument's."""
