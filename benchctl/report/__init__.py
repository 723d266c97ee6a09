"""Pages and pictures from run folders: what a technician publishes. Reads the archive, never an instrument."""
