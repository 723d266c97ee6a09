"""Benches and amplifiers drawn at random, each run dry, its verdicts and refusals held against the truth."""
