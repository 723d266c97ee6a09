"""Title and class from the text of a document that a run kept, without reading the whole document."""

from __future__ import annotations

import re
from pathlib import Path

from benchctl.archive.files import read_bytes
from benchctl.errors import ArchiveError

# A value on its key's line that needs no reading of YAML, with no line after it that goes on with it.
_SIMPLE = (
    r"^{key}:[ ]+([A-Za-z0-9(](?:[^\n:#\"'\\{{}}\[\]&*!|>%@`]|:(?! )(?!\n))*?)[ ]*(?:[ ]#[^\n]*)?(?:\n(?![ \t])|\Z)"
)
_PATTERNS = {key: re.compile(_SIMPLE.format(key=key), re.MULTILINE) for key in ("title", "class")}
_LONGEST_BYTES = 4_000_000


def fact(text: str, key: str) -> str:
    """The value of `title` or `class` at the top of a document; '' where there is none that can be read."""
    found = _PATTERNS[key].search(text)
    return found[1] if found else _read_as_yaml(text, key)


def _read_as_yaml(text: str, key: str) -> str:
    """Quoted, folded, or in braces."""
    import yaml  # noqa: PLC0415 - few titles are written so

    try:
        tree = yaml.load(text, Loader=yaml.BaseLoader)
    except (yaml.YAMLError, RecursionError, ValueError):
        return ""
    value = tree.get(key, "") if isinstance(tree, dict) else ""
    return " ".join(value.split()) if isinstance(value, str) else ""


def text_of(file: Path) -> str:
    """The text of a kept document; '' where it is not there or cannot be read."""
    try:
        return read_bytes(file, _LONGEST_BYTES).decode("utf-8", errors="replace")
    except ArchiveError:
        return ""
