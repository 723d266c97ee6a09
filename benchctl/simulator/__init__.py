"""SCPI servers on loopback around one simulated amplifier, electrical and thermal."""
