"""The amplifier: converter, rails, output stages, and the circuit that they make with supply and loads."""
