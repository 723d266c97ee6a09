"""What a run tells of the amplifier's heatsink: heat from the trend, temperature from the sensor on it."""
