"""Driver files: the command set of one family of instruments in one role, a folder a role."""
