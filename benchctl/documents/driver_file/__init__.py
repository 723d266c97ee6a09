"""Driver files: the commands of one family of instruments in one role."""
