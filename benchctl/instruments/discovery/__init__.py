"""Finding instruments: what announces itself, what is plugged in, and who answers at an address."""
