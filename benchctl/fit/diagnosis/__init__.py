"""What aged or failed: a run held against the unit's earlier run, its sister channel and its amplifier file."""
