"""Expand a sequence, preflight it, execute it; one small module per kind of step."""
