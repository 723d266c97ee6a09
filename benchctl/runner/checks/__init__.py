"""What is checked before anything is switched on: hazards, warnings and notes, with figures."""
