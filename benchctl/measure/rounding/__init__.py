"""What a converter's steps do to a signal: what noise makes random of it, and what flat tops keep."""
