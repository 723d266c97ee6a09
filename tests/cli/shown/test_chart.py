"""A chart of plain characters: what is higher stands higher, what is above nought shows, and ASCII will do."""

from __future__ import annotations

import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from benchctl.cli.shown.chart import HEIGHT, Chart, Series


def drawn(*values: float, lowest: float = 0.0, encoding: str = "utf-8", width: int = 40) -> list[str]:
    """The lines of a chart of values that last equally long, on a console of this encoding."""

    def highest_in(start_s: float, end_s: float) -> float:
        return max(value for place, value in enumerate(values) if place < end_s and place + 1 > start_s)

    file = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    console = Console(file=file, width=width, color_system=None)
    console.print(Chart([Series("Current, A", lowest, highest_in)], float(len(values)), lambda time_s: f"{time_s:g} s"))
    file.flush()
    content = file.buffer
    assert isinstance(content, io.BytesIO)
    return content.getvalue().decode(encoding).splitlines()


def heights(lines: list[str]) -> list[int]:
    """How many of the chart's lines each column reaches into."""
    rows = [line.partition("│")[2].ljust(40) for line in lines[1 : 1 + HEIGHT]]
    return [sum(row[column] != " " for row in rows) for column in range(32)]


def test_both_axes_carry_values_and_the_title_the_unit() -> None:
    title, *rows, axis, times = drawn(10.0, 60.0, 30.0)
    assert title == "Current, A"
    assert rows[0].split("│")[0].strip() == "60"
    assert rows[-1].split("│")[0].strip() == "0"
    assert axis.strip().startswith("└──")
    assert times.split() == ["0", "s", "1.5", "s", "3", "s"]


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(0.0, 100.0), min_size=2, max_size=8))
def test_a_higher_value_never_stands_lower(values: list[float]) -> None:
    columns = heights(drawn(*values))
    # A column in the middle of each value's stretch of the 32.
    middles = [columns[int((place + 0.5) * 32 / len(values))] for place in range(len(values))]
    for value, height in zip(values, middles, strict=True):
        assert all(height >= other for lower, other in zip(values, middles, strict=True) if lower < value)


def test_the_least_current_shows() -> None:
    assert min(heights(drawn(0.01, 60.0))) == 1


def test_nothing_stands_where_there_is_nothing() -> None:
    assert heights(drawn(0.0, 60.0))[0] == 0


def test_an_axis_may_begin_above_nought() -> None:
    lines = drawn(25.0, 80.0, lowest=20.0)
    assert lines[HEIGHT].split("│")[0].strip() == "20"
    assert heights(lines)[0] == 1


@pytest.mark.parametrize("width", [20, 80, 120])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    assert all(len(line) <= width for line in drawn(1.0, 2.0, 3.0, width=width))


def test_a_terminal_without_block_characters_gets_ascii() -> None:
    lines = drawn(10.0, 60.0, 30.0, encoding="ascii")
    assert "#" in lines[1]
    assert lines[-2].strip().startswith("+--")


def test_a_terminal_too_narrow_for_a_chart_gets_none() -> None:
    assert drawn(1.0, 2.0, width=12) == []
