"""Mistakes planted in driver files, one at a time: `instruments --exercise` has to find each and name its line."""
