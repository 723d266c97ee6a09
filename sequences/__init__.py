"""Sequence files that ship."""
