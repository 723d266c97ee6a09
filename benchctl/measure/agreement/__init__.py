"""Where two instruments see one quantity, and what physics forbids: pure functions of what is recorded."""
