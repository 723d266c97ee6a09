"""A campaign that breaks the program on purpose, one small change at a time, and counts what no test notices."""
