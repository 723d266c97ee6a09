"""A fit kept in the amplifier file: written there, and what it lets expect of any run."""
