"""A figure is a finite number with its uncertainty; its verdict grants the doubt to nobody."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import ufloat

from benchctl.errors import MeasurementError
from benchctl.measure.budget.figure import Bound, Figure, Requirement, figure_of, from_capture, judge

Relation = Literal["below", "above", "within"]


def power(value: float, u: float | None = 1.0, bound: Bound = "") -> Figure:
    return Figure("burst_power_clean", value, "W", expanded_uncertainty=u, bound=bound)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(98.9, "passes"), (99.0, "passes"), (99.1, "inconclusive"), (100.9, "inconclusive"), (101.1, "fails")],
)
def test_below_a_limit_passes_only_with_all_of_its_uncertainty_below(value: float, verdict: str) -> None:
    assert judge(power(value), Requirement("below", 100.0)).verdict == verdict


@pytest.mark.parametrize(
    ("value", "verdict"), [(101.1, "passes"), (100.5, "inconclusive"), (99.5, "inconclusive"), (98.9, "fails")]
)
def test_above_a_limit_passes_only_with_all_of_its_uncertainty_above(value: float, verdict: str) -> None:
    assert judge(power(value), Requirement("above", 100.0)).verdict == verdict


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (0.0, "passes"),
        (-8.9, "passes"),
        (9.5, "inconclusive"),
        (-10.5, "inconclusive"),
        (11.1, "fails"),
        (-11.1, "fails"),
    ],
)
def test_within_a_limit_counts_both_signs(value: float, verdict: str) -> None:
    assert judge(power(value), Requirement("within", 10.0)).verdict == verdict


@pytest.mark.parametrize(
    ("bound", "relation", "limit", "verdict"),
    [
        # At most 20: it may be anything below.
        ("at most", "below", 30.0, "passes"),
        ("at most", "below", 20.0, "passes"),
        ("at most", "below", 10.0, "inconclusive"),
        ("at most", "above", 30.0, "fails"),
        ("at most", "above", 20.0, "inconclusive"),
        ("at most", "above", 10.0, "inconclusive"),
        ("at most", "within", 10.0, "inconclusive"),
        ("at most", "within", 20.0, "inconclusive"),
        ("at most", "within", 30.0, "inconclusive"),
        # At least 20: it may be anything above.
        ("at least", "above", 10.0, "passes"),
        ("at least", "above", 20.0, "passes"),
        ("at least", "above", 30.0, "inconclusive"),
        ("at least", "below", 10.0, "fails"),
        ("at least", "below", 20.0, "inconclusive"),
        ("at least", "below", 30.0, "inconclusive"),
        ("at least", "within", 10.0, "fails"),
        ("at least", "within", 20.0, "inconclusive"),
        ("at least", "within", 30.0, "inconclusive"),
    ],
)
def test_a_bound_has_the_verdict_that_all_it_leaves_open_has(
    bound: Bound, relation: Relation, limit: float, verdict: str
) -> None:
    assert judge(power(20.0, None, bound), Requirement(relation, limit)).verdict == verdict


@pytest.mark.parametrize(
    ("value", "relation", "limit", "verdict"),
    [
        (90.0, "below", 100.0, "passes"),  # 80 to 100
        (110.0, "below", 100.0, "inconclusive"),  # 100 to 120
        (110.0, "above", 100.0, "passes"),
        (90.0, "above", 100.0, "inconclusive"),
        (90.0, "within", 100.0, "passes"),
        (110.0, "within", 100.0, "inconclusive"),
        (-110.0, "within", 100.0, "inconclusive"),
        (10.0, "within", 0.0, "inconclusive"),  # 0 to 20
        (-10.0, "within", 0.0, "inconclusive"),  # -20 to 0
        (10.5, "within", 0.25, "fails"),
        (0.0, "within", 5.0, "inconclusive"),  # -10 to 10, of which 0 is within
    ],
)
def test_an_interval_that_just_touches_the_limit_meets_it(
    value: float, relation: Relation, limit: float, verdict: str
) -> None:
    assert judge(power(value, 10.0), Requirement(relation, limit)).verdict == verdict


def test_what_its_instruments_contradict_each_other_on_has_no_verdict() -> None:
    doubted = replace(power(50.0), contradiction="supply current: the supply reads 1 A, the clamp shows 2 A")
    assert judge(doubted, Requirement("below", 100.0)).verdict == "inconclusive"


def test_without_any_uncertainty_no_verdict_is_given() -> None:
    assert judge(power(1.0, None), Requirement("below", 100.0)).verdict == "inconclusive"


@given(value=st.floats(-1e6, 1e6), u=st.floats(0.0, 1e6), limit=st.floats(-1e6, 1e6))
@settings(derandomize=True, max_examples=200)
def test_above_and_below_the_same_limit_never_both_pass_unless_exactly_on_it(
    value: float, u: float, limit: float
) -> None:
    below = judge(power(value, u), Requirement("below", limit)).verdict
    above = judge(power(value, u), Requirement("above", limit)).verdict
    assert (below, above) != ("fails", "fails")
    assert (below, above) != ("passes", "passes") or value == limit


def test_the_expanded_uncertainty_is_twice_the_standard_one() -> None:
    figure = figure_of("output_rms", ufloat(20.0, 0.1), "V", "A")
    assert (figure.value, figure.expanded_uncertainty, figure.coverage_factor) == (20.0, pytest.approx(0.2), 2.0)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_value_that_is_no_number_never_becomes_a_figure(value: float) -> None:
    with pytest.raises(MeasurementError, match="not a figure"):
        power(value)


def test_a_figure_names_all_the_captures_it_came_from() -> None:
    assert from_capture([power(1.0)], "clean.npz", "full.npz")[0].capture == "clean.npz full.npz"
