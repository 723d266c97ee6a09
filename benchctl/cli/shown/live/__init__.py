"""The view of a run on a terminal: large characters, bars, and a panel that fits any window."""
