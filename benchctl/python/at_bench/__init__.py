"""The bench in the hands of a program: a run in a thread of its own, which does what the program asks for."""
