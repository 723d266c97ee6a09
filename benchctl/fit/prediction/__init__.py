"""What a fitted amplifier would do into loads, at supply voltages and in bursts that its run did not measure."""
