"""What the carrier of a class D amplifier does to a record: a low-pass against it, its residue, and where it folds."""
