"""A unit's life: its runs in order, what changed from one to the next, what was noted, and figures over time."""
