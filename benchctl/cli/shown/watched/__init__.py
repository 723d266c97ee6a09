"""Who else is told of a run: browsers by the live page, a program of the user's, the desktop."""
