"""What a tree needs that takes entries of another file: those at one place of this file, and the whole as text."""

from __future__ import annotations

from typing import Any

import yaml

from benchctl.documents.text.position import Position
from benchctl.documents.text.tree import Listing, Table, Text


def moved(node: Any, position: Position) -> Any:
    """The same tree, with every entry at one position."""
    if isinstance(node, Table):
        items = ((Text(str(key), position), moved(value, position)) for key, value in node.items())
        return Table(items, position)
    if isinstance(node, Listing):
        return Listing((moved(item, position) for item in node), position)
    return Text(str(node), position)


def whole_text(header: str, table: Table) -> str:
    """A file that needs no other, as YAML."""
    plain = {"benchctl": header, **_plain(table.without(["benchctl"]))}
    return yaml.safe_dump(plain, sort_keys=False, allow_unicode=True, width=1000)


def _plain(node: Any) -> Any:
    if isinstance(node, dict):
        return {str(key): _plain(value) for key, value in node.items()}
    if isinstance(node, list):
        return [_plain(item) for item in node]
    return str.__str__(node)
