"""A problem in a file as a person sees it: its place, what is wrong, and the line with a caret under the place."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.errors import Problem

# This much of a line is shown around the place; longer lines are noise or encoded data.
_WIDEST = 96
_CUT = "..."


def problem_lines(problem: Problem) -> Iterator[str]:
    """The problem in one line, then the file's line with a caret under the place, if it can be shown."""
    yield str(problem)
    if not problem.source_line.strip():
        return
    shown, column = _window(problem.source_line, problem.column)
    margin = f"{problem.line:>6} | "
    yield f"{margin}{shown}"
    yield f"{'|':>{len(margin) - 1}} {' ' * (column - 1)}^"


def _window(line: str, column: int) -> tuple[str, int]:
    """The part of a line around a column, and the column in that part; without anything that could move a terminal's
    cursor."""
    plain = "".join(char if char.isprintable() else " " if char == "\t" else "?" for char in line).rstrip()
    column = min(column, len(plain) + 1)
    if len(plain) <= _WIDEST:
        return plain, column
    start = max(0, min(column - 1 - _WIDEST // 2, len(plain) - _WIDEST))
    before, after = _CUT if start else "", _CUT if start + _WIDEST < len(plain) else ""
    return f"{before}{plain[start : start + _WIDEST]}{after}", column - start + len(before)
