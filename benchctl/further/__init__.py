"""The one further step by which a run would tell more of a quantity: candidates, what each would tell and cost, and a
sequence with the best."""
