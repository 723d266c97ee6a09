"""Small programs that write parts of the documentation from the code, each run as `python -m tools.NAME`."""
