"""The rules find what they name, and among all possible orders just as many as chance makes."""

from __future__ import annotations

from itertools import permutations, product

from benchctl.measure.control.limits import ControlLimits
from benchctl.measure.control.rules import Signal, signals_of

LIMITS = ControlLimits(0.0, 3.0, 24)


def test_a_value_beyond_a_limit_is_found_and_one_on_it_is_not() -> None:
    assert signals_of([0.5, -3.1, 3.0, 0.2], LIMITS) == [Signal("outside", 1, 1, is_up=False)]


def test_values_beyond_the_same_limit_in_a_row_are_one_signal() -> None:
    assert signals_of([0.5, 3.1, 3.2, -0.1], LIMITS) == [Signal("outside", 1, 2, is_up=True)]


def test_of_all_orders_of_nine_sides_two_are_a_run() -> None:
    found = [sides for sides in product((-1.0, 1.0), repeat=9) if signals_of(sides, LIMITS)]
    assert found == [(-1.0,) * 9, (1.0,) * 9]  # 2 of 512: 0.39 %, as the docstring of the rules says


def test_a_value_on_the_centre_line_ends_a_run() -> None:
    assert signals_of([1.0, 1.2] * 4 + [0.0] + [1.0, 1.2] * 4, LIMITS) == []


def test_of_all_orders_of_seven_values_two_are_steady() -> None:
    found = [order for order in permutations((-0.9, -0.6, -0.3, 0.0, 0.3, 0.6, 0.9)) if signals_of(order, LIMITS)]
    assert len(found) == 2  # 2 of 7!
    assert signals_of(found[0], LIMITS) == [Signal("steady", 0, 6, is_up=True)]


def test_a_stretch_is_told_as_long_as_it_is() -> None:
    (signal,) = signals_of([-1.0, 0.5, 0.6] + [1.0, 1.2] * 6, LIMITS)
    assert (signal.kind, signal.first, signal.last, signal.count) == ("one side", 1, 14, 14)
