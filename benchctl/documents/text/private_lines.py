"""Which lines of a document may name a person, so that they are not shown where anybody may read."""

from __future__ import annotations

import re
from collections.abc import Iterator

from benchctl.documents.text.position import Position, position_of
from benchctl.documents.text.tree import Table, parse_tree
from benchctl.errors import DocumentError

# Of an amplifier file, and of a bench file.
PRIVATE_PARTS = ("unit", "workshop")
_LEFT_OUT = "# left out: this line may name a person\n"


# Such a line is one wherever it stands, as where somebody has changed the name of the part.
_PRIVATE_KEY = re.compile(r"\b(owner|contact|reference|tester)['\"]?\s*:", re.IGNORECASE)


def private_lines(text: str) -> frozenset[int]:
    """The numbers, from 1, of the lines that belong to a private part or look like it; all of them, where the text has
    such a part and cannot be read."""
    lines = text.splitlines()
    alone = {number for number, line in enumerate(lines, start=1) if _PRIVATE_KEY.search(line)}
    if not any(part in text for part in PRIVATE_PARTS):
        return frozenset(alone)
    try:
        tree, _ = parse_tree(text, "")
    except DocumentError:
        return frozenset(range(1, len(lines) + 1))
    return frozenset(alone | set(_of_parts(tree, len(lines))))


def without_private_lines(text: str) -> str:
    """The text with a comment in place of each such line, so that the others keep their numbers."""
    private = private_lines(text)
    lines = text.splitlines(keepends=True)
    return "".join(_LEFT_OUT if number in private else line for number, line in enumerate(lines, start=1))


def _of_parts(tree: object, last_line: int) -> Iterator[int]:
    if not isinstance(tree, Table):
        yield from range(1, last_line + 1)
        return
    places = [(str(key), position_of(key)) for key in tree]
    ends = [*(_line_before(position) for _, position in places[1:]), last_line]
    for (key, begins), end in zip(places, ends, strict=True):
        if key in PRIVATE_PARTS:
            yield from range(begins.line, max(end, begins.line) + 1)


def _line_before(position: Position) -> int:
    """The last line of what stands before this key: the key's own line, if something stands before it there."""
    return position.line - 1 if position.column == 1 else position.line
