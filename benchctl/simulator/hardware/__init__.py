"""What stands on the bench beside the amplifier: supply outputs, loads, relays, wires, heat, and all of it together."""
