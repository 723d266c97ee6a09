"""One small module per kind of step."""
