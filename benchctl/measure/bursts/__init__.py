"""Bursts: where one lies in a record, its cycles, and how its peaks sink."""
