"""The commands, one module each, a few lines over the library."""
