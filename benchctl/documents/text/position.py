"""Places in a file, counted from 1 as editors do."""

from __future__ import annotations

from typing import Any, NamedTuple


class Place(NamedTuple):
    """Where something begins."""

    line: int
    column: int


START = Place(1, 1)


def place_of(value: object, default: Place = START) -> Place:
    """The place a node remembers; `default` for a value that did not come from a file."""
    place = getattr(value, "place", default)
    return place if isinstance(place, Place) else default


def place_at(mark: Any) -> Place:
    """The place of a YAML mark, which counts from 0; the start of the file where there is none."""
    return START if mark is None else Place(mark.line + 1, mark.column + 1)


def place_after(text: str) -> Place:
    """The place of what follows `text`."""
    return Place(text.count("\n") + 1, len(text) - text.rfind("\n"))
