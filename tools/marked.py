"""A part of a page that a program writes, between two markers that a reader does not see."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).parent.parent


def marks(name: str) -> tuple[str, str]:
    """The lines before and behind the part."""
    return f"<!-- begin {name}: written by `make docs` -->\n", f"<!-- end {name} -->\n"


def part_of(page: str, name: str) -> str:
    """The part of a page's text that is called `name`.

    Raises:
        ValueError: the page has no such part, or has it twice.
    """
    before, behind = marks(name)
    if page.count(before) != 1 or page.count(behind) != 1:
        raise ValueError(f"the page must have one part '{name}' between its markers")
    return page.partition(before)[2].partition(behind)[0]


def rewrite(path: Path, name: str, text: str) -> None:
    """Put `text` in place of a part."""
    page = path.read_text(encoding="utf-8")
    before, behind = marks(name)
    path.write_text(page.replace(before + part_of(page, name) + behind, before + text + behind), encoding="utf-8")
