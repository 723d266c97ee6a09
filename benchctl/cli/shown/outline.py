"""The steps of a run as a tree, each with what to expect of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text
from rich.tree import Tree

from benchctl.quantity import in_minutes, render
from benchctl.runner.checks.expected_tree import ExpectedPart, together

# Name and width of each column; the widest entry is such as `59:59 min`, `2.16 kJ`, `60.4 A`, `27.5 degC`.
_COLUMNS = (("time", 10), ("at most", 10), ("energy", 8), ("current", 8), ("heatsink", 10))
_COLUMNS_WIDTH = sum(width for _, width in _COLUMNS)
_GUIDE = 4  # characters of indent for each level of a tree
_NARROWEST = 20
# With more lines, the tree and the chart under it do not fit on one screen.
MOST_ROWS = 24
# A folded loop keeps this many turns at its beginning, and one at its end.
_KEPT_FIRST = 1


def folded(expected: ExpectedPart) -> ExpectedPart:
    """The tree; if it is too long for a screen, the middle turns of every loop become one line."""
    return expected if expected.rows <= MOST_ROWS else _fold(expected)


def _fold(expected: ExpectedPart) -> ExpectedPart:
    parts = [_fold(part) for part in expected.parts]
    middle = parts[_KEPT_FIRST:-1]
    if expected.is_loop and len(middle) > 1:
        title = f"{len(middle)} more, {middle[0].title} to {middle[-1].title}"
        parts = [*parts[:_KEPT_FIRST], together("", title, middle), parts[-1]]
    return replace(expected, parts=tuple(parts))


class Outline:
    """A tree that fills the width, with its figures in columns."""

    def __init__(self, expected: ExpectedPart) -> None:
        self._expected = expected

    def __rich_console__(self, _console: Console, options: ConsoleOptions) -> RenderResult:
        name_width = min(_widest(self._expected), max(options.max_width - _COLUMNS_WIDTH, _NARROWEST))
        heads = (name for name, _ in _COLUMNS)
        tree = Tree(_row(self._expected.title, heads, name_width, "bold"))
        _grow(tree, self._expected.parts, name_width - _GUIDE)
        yield tree


def _widest(expected: ExpectedPart, depth: int = 0) -> int:
    own = depth * _GUIDE + len(_name(expected))
    return max([own, *(_widest(part, depth + 1) for part in expected.parts)])


def _grow(tree: Tree, parts: Sequence[ExpectedPart], name_width: int) -> None:
    for part in parts:
        branch = tree.add(_row(_name(part), _cells(part), name_width))
        _grow(branch, part.parts, name_width - _GUIDE)


def _name(expected: ExpectedPart) -> str:
    return f"{expected.number} {expected.title}".strip()


def _cells(expected: ExpectedPart) -> tuple[str, ...]:
    return (
        in_minutes(expected.duration_s),
        "" if expected.at_most_s is None else in_minutes(expected.at_most_s),
        render(expected.energy_j, "J", digits=3) if expected.energy_j else "",
        render(expected.peak_a, "A", digits=3) if expected.peak_a else "",
        f"{expected.heatsink_c:.1f} degC",
    )


def _row(name: str, cells: Iterable[str], name_width: int, style: str = "") -> Text:
    shown = name if len(name) <= name_width else f"{name[: max(name_width - 3, 0)]}..."
    figures = "".join(cell.rjust(width) for cell, (_, width) in zip(cells, _COLUMNS, strict=True))
    return Text(shown.ljust(name_width) + figures, style=style, no_wrap=True, overflow="crop")
