"""Ranges of whole numbers against the sets that they stand for."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.scpi.number_list import NumberList

END = st.integers(-20, 20)
RANGES = st.lists(st.tuples(END, END).map(lambda ends: (min(ends), max(ends))), max_size=6)


def numbers(ranges: list[tuple[int, int]]) -> set[int]:
    return {number for first, last in ranges for number in range(first, last + 1)}


@given(RANGES, RANGES)
def test_they_join_and_part_as_sets_do(some: list[tuple[int, int]], others: list[tuple[int, int]]) -> None:
    one, other = NumberList.of(some), NumberList.of(others)
    expected = {one | other: numbers(some) | numbers(others), one - other: numbers(some) - numbers(others)}
    for found, wanted in expected.items():
        assert {number for number in range(-25, 25) if number in found} == wanted
        assert numbers(list(found.ranges)) == wanted


@given(RANGES)
def test_equal_sets_are_written_alike(ranges: list[tuple[int, int]]) -> None:
    singles = [(number, number) for number in numbers(ranges)]
    assert NumberList.of(ranges) == NumberList.of(singles)


@pytest.mark.parametrize(
    ("ranges", "text"), [([], "()"), ([(1, 1)], "(1)"), ([(-113, -100), (5, 7), (-99, -99)], "(-113:-99,5:7)")]
)
def test_it_is_written_as_the_standard_writes_it(ranges: list[tuple[int, int]], text: str) -> None:
    """SCPI-99 volume 1, 8.3.3."""
    assert str(NumberList.of(ranges)) == text
