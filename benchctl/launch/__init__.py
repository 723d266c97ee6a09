"""Puts a run together, real or dry: clock, addresses, simulator, runner."""
