"""Pictures of a run as SVG for a page: each a module that finds what it shows and draws it, or has nothing to draw."""
