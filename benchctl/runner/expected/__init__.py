"""What to expect of a step before anything is touched: power, current, heat, time."""
