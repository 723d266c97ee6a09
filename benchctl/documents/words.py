"""How problems are put into words: quoting what was found, offering the nearest known name, plain YAML faults."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from benchctl.errors import quote

_LONGEST_NAME = 60  # characters of a strange name that are compared with the known ones
_MOST_LISTED = 12

# What the YAML parser says -> what a technician can act on, and whether the place is where the construct began.
_YAML_FAULTS: tuple[tuple[str, str, bool], ...] = (
    (
        "mapping values are not allowed",
        "a colon that does not fit here; look for a missing colon or a wrong indent in the line before, "
        "and quote a text that contains ': '",
        False,
    ),
    (
        "could not find expected ':'",
        "this line has no colon after its key; write 'key: value'",
        True,
    ),
    ("found character '\\t'", "a tab; indent with spaces", False),
    ("found a tab character", "a tab; indent with spaces", False),
    ("did not find expected key", "this does not line up; the keys of one mapping need the same indent", False),
    ("expected <block end>", "this does not line up; the keys of one mapping need the same indent", False),
    ("did not find expected '-'", "this does not line up; each entry of a list begins with '- ' at one indent", False),
    (
        "block sequence entries are not allowed",
        "a '- ' that does not fit here; a list begins on a line of its own",
        False,
    ),
    ("did not find expected ',' or '}'", "a comma or the closing '}' is missing before this", False),
    ("expected ',' or '}'", "a comma or the closing '}' is missing before this", False),
    ("did not find expected ',' or ']'", "a comma or the closing ']' is missing before this", False),
    ("expected ',' or ']'", "a comma or the closing ']' is missing before this", False),
    ("exceeded maximum nesting depth", "nested too deep; is a bracket left open?", False),
    ("found unexpected end of stream", "the quoted text that begins here is never closed", True),
    ("found undefined alias", "an alias (*) without its anchor (&); write the value itself", False),
    ("second occurrence", "an anchor (&) that was given before; use another name", False),
    ("cannot start any token", "this character cannot begin a value; put the value in quotes", False),
)


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most like `name`, if one is alike enough to be meant."""
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


def describe(value: object) -> str:
    """What kind of thing was found, for 'expected this, found that'."""
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list | tuple):
        return "a list"
    return "nothing" if value == "" else quote(value)


def yaml_fault(problem: str, context: str) -> tuple[str, bool]:
    """A YAML parser's complaint in plain words, and whether its place is where the construct began."""
    for complaint, sentence, at_context in _YAML_FAULTS:
        if complaint in problem:
            return sentence, at_context
    return f"this is not YAML: {problem} {context}".strip(), False
