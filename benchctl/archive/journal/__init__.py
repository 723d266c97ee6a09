"""The journal: its lines, the events that somebody reads again, and what each must hold."""
