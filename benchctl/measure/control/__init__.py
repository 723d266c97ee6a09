"""Control charts of single values: limits, run rules, and what they say of a series."""
