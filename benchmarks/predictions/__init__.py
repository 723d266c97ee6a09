"""How often a predicted figure holds the truth of a load that the fit has not seen, on amplifiers and benches that are
drawn."""
