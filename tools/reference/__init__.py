"""The pages of docs/reference/, written from the program: `python -m tools.reference`."""
