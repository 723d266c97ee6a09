"""The run folder: journal, figures and captures; writing them, reading them back, recomputing them."""
