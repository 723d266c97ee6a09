"""What the step `drive_by_hand` is made of: the keys, and the looks at the amplifier."""
