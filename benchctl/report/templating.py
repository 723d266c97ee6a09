"""Fills in the templates of pages: text from outside is escaped; only pictures are our own markup."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import jinja2

_OURS = "benchctl.report"
# A page says so within its first lines; see templates/base.html.
_BEGINS, _MARK, _LOOKED_AT_BYTES = b"<!doctype html>", b'<meta name="generator" content="benchctl">', 1024


def printed(template: str, contents: dict[str, Any], package: str = _OURS) -> str:
    """The page that a template makes of its contents; what it lacks is an error in the program, not a gap.

    `package`: whose templates come first; those that all pages share follow.
    """
    return _environment(package).get_template(template).render(contents).lstrip()


@cache
def _environment(package: str) -> jinja2.Environment:
    """Kept, for a site has thousands of pages."""
    return jinja2.Environment(
        loader=jinja2.ChoiceLoader([jinja2.PackageLoader(each) for each in dict.fromkeys([package, _OURS])]),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def is_page(path: Path) -> bool:
    """Whether a file is a page that was made here."""
    if not path.is_file():
        return False
    try:
        with path.open("rb") as file:
            beginning = file.read(_LOOKED_AT_BYTES)
    except OSError:
        return False  # what cannot be read is nothing to write over
    return beginning.startswith(_BEGINS) and _MARK in beginning
