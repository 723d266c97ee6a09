"""YAML text as a tree in which every piece knows its line and column, and its problems in words."""
