"""The tables of a run folder: figures.csv and trend.csv."""
