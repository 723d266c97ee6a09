"""The process beside a real run that makes the bench safe if the run cannot, and the run's side of it."""
