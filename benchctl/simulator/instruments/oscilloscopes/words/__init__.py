"""The command sets of simulated oscilloscopes, put together from groups of words."""
