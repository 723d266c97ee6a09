"""Every shipped sequence on every shipped amplifier, dry, on the bench that suits it or on one of your choice."""
