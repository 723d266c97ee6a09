"""What every simulated oscilloscope does: inputs, converter, acquisition, and codes as they are sent."""
