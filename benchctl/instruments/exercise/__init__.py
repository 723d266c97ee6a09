"""Trying every word of a driver file on its instrument, at values that do no harm."""
