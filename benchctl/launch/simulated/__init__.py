"""Simulated instruments in place of real ones: what they are, in virtual time or served at loopback addresses."""
