"""Dry runs of quick_check on benches whose instruments speak each form that a driver ships for."""
