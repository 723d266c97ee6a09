"""An amplifier's physics fitted to one run: what its rails, reservoir, converter and outputs are, and how well that is
known."""
