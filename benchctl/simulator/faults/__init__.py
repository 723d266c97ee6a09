"""Faults on purpose: when each begins, and what it does to hardware, instruments and links."""
