"""Do the stated uncertainties tell the truth? Many simulated benches, each with errors of its own, and known truths."""
