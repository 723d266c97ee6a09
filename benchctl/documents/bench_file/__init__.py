"""Bench files: instruments, wiring, what the bench bears, and what is true of a simulated one."""
