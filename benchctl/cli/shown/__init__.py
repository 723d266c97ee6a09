"""What a person sees: views of a run, tables, bars, problems of a file."""
