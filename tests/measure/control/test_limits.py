"""Limits of a chart of single values: the published example, and displays that show steps."""

from __future__ import annotations

import math

import pytest

from benchctl.measure.control.limits import D2, limits_of, moving_ranges, step_of

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, "Individuals Control Charts": flow rates of ten batches and
# the limits printed there (from memory; they follow from the rates by hand: 50.81 ± 3 · 1.8778/1.128).
FLOW_RATES = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
PRINTED_RANGES = (2.0, 2.3, 1.4, 3.5, 3.4, 1.4, 0.2, 1.2, 1.5)
PRINTED_CENTRE, PRINTED_UPPER, PRINTED_LOWER = 50.81, 55.8041, 45.8159


def test_limits_are_those_of_the_published_example() -> None:
    limits = limits_of(FLOW_RATES)
    assert moving_ranges(FLOW_RATES) == pytest.approx(PRINTED_RANGES)
    assert limits.centre == pytest.approx(PRINTED_CENTRE, abs=5e-3)
    assert limits.upper == pytest.approx(PRINTED_UPPER, abs=5e-5)
    assert limits.lower == pytest.approx(PRINTED_LOWER, abs=5e-5)
    assert limits.sigma == pytest.approx(1.8778 / 1.128, abs=5e-5)


def test_the_factor_is_the_mean_range_of_two_normal_values() -> None:
    assert pytest.approx(2.0 / math.sqrt(math.pi), abs=5e-4) == D2  # closed form


def test_a_slow_rise_hardly_widens_the_limits() -> None:
    steady = [0.0, 1.0] * 6
    rising = [value + 0.1 * place for place, value in enumerate(steady)]
    assert limits_of(rising).reach < 1.1 * limits_of(steady).reach


def test_values_that_are_equal_but_for_rounding_lie_within() -> None:
    limits = limits_of([0.1 + 0.2, 0.3, 0.3, 0.3])
    assert limits.lower < 0.3 < limits.upper


def test_one_step_of_a_coarse_display_lies_within() -> None:
    values = [10.0] * 12 + [10.1] + [10.0] * 11
    assert step_of(values) == pytest.approx(0.1)
    limits = limits_of(values)
    assert limits.lower <= 10.0
    assert limits.upper >= 10.1
    assert step_of(FLOW_RATES) == 0.0


def test_one_value_gives_no_limits() -> None:
    with pytest.raises(ValueError, match="two values"):
        limits_of([1.0])
