"""Positions in a file: line and column, counted from 1 as editors do."""

from __future__ import annotations

from typing import Any, NamedTuple


class Position(NamedTuple):
    """Where something begins."""

    line: int
    column: int


START = Position(1, 1)


def position_of(value: object, default: Position = START) -> Position:
    """The position of a node; `default` for a value that did not come from a file."""
    position = getattr(value, "position", default)
    return position if isinstance(position, Position) else default


def position_at(mark: Any) -> Position:
    """The position of a YAML mark, which counts from 0; the start of the file if there is no mark."""
    return START if mark is None else Position(mark.line + 1, mark.column + 1)


def position_after(text: str) -> Position:
    """The position just after `text`."""
    return Position(text.count("\n") + 1, len(text) - text.rfind("\n"))
