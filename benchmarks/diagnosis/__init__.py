"""How often a planted fault of an amplifier is named first or second, and how often a sound unit is called faulty."""
