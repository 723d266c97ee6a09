"""Pieces of Markdown that any forge renders."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

# Which programs wrote a page, so that nobody edits it by hand.
WRITTEN = "<!-- Written by `make docs` from the program: change it there. -->\n\n"


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table, and an empty line behind it; nothing where there are no rows."""
    lines = [_row(row) for row in rows]
    return "\n".join([_row(head), _row(["---"] * len(head)), *lines]) + "\n\n" if lines else ""


def _row(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def code(text: str) -> str:
    """Text as it would be written."""
    return f"`{text}`"


def codes(texts: Iterable[str], last: str = "and") -> str:
    """Several texts as they would be written: `a`, `b` and `c`."""
    *others, end = [code(text) for text in texts] or [""]
    return f"{', '.join(others)} {last} {end}" if others else end


def slug(heading: str) -> str:
    """What forges make of a heading, behind the # of a link."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def sentence(text: str) -> str:
    """A description as a sentence of its own, on one line."""
    whole = " ".join(text.split())
    return whole if whole.endswith((".", ":")) or not whole else f"{whole}."


def prose(text: str) -> str:
    """A docstring's paragraphs, a line each; what is set off by indentation stays as it is."""
    paragraphs = [" ".join(paragraph.split()) for paragraph in text.split("\n\n")]
    return "\n\n".join(paragraph for paragraph in paragraphs if paragraph)
