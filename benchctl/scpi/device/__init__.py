"""The side of the instrument: commands to handlers, status, answers."""
