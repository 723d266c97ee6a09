"""Do runs with faults drawn at random all end safe, and say so? `python -m benchmarks.fault_campaign`."""
