"""Days as every page writes them."""

from __future__ import annotations

from datetime import datetime


def day_of(when: datetime) -> str:
    """A day as on every page."""
    return f"{when:%Y-%m-%d}"


def span_in_words(first: datetime, last: datetime) -> str:
    """On one day, or from one to another."""
    return f"on {day_of(first)}" if day_of(first) == day_of(last) else f"from {day_of(first)} to {day_of(last)}"
