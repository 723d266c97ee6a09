"""Words for problems: quoting what was found, and offering the nearest known name."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

from benchctl.errors import quote

_LONGEST_NAME = 60  # characters of a strange name that are compared with the known ones
_MOST_LISTED = 12


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most similar to `name`, if one is similar enough to be meant."""
    matches = difflib.get_close_matches(name[:_LONGEST_NAME], list(known), n=1, cutoff=0.6)
    return matches[0] if matches else None


def unknown(name: str, known: Iterable[str], what: str = "key") -> str:
    """A sentence that refuses `name` and offers the nearest known one, or all of them."""
    choices = list(known)
    near = nearest(name, choices)
    if near is not None:
        return f"unknown {what} {quote(name)}; did you mean '{near}'?"
    if not choices:
        return f"unknown {what} {quote(name)}; nothing more can be given here"
    listed = [*choices[:_MOST_LISTED], "..."] if len(choices) > _MOST_LISTED else choices
    return f"unknown {what} {quote(name)}; known here: {', '.join(listed)}"


def listed(names: Sequence[str]) -> str:
    """`A`, `A and B`, `A, B and C`."""
    *others, last = names
    return f"{', '.join(others)} and {last}" if others else last


def outputs_in_words(channels: Sequence[str]) -> str:
    """`output A`, `outputs A and B`."""
    return f"output{'s' if len(channels) > 1 else ''} {listed(channels)}"


def describe(value: object) -> str:
    """What kind of thing was found, for 'expected this, found that'."""
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list | tuple):
        return "a list"
    return "nothing" if value == "" else quote(value)
