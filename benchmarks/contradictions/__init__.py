"""Instruments that are wrong by a factor, one at a time, and whether anything has a verdict that rests on them."""
