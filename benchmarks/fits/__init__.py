"""How often what a fit tells covers the truth, on amplifiers and benches that are drawn."""
