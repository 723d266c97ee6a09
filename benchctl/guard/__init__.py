"""Limits, the watching thread and the safe state."""
