"""The instruments: their words, their settings, and what their inputs make of the hardware."""
