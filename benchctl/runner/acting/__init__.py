"""What the steps work with: the run, the drive, records, the amplifier's protection."""
