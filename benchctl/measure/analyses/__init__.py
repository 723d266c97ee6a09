"""The figures of each kind of step, from its records, its readings and their context."""
