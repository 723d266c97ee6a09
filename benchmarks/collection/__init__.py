"""Thousands of run folders of a ferry workshop, made from a few dry runs, and how long it takes to find one."""
