"""What the doubt of a level adds to the uncertainty of a figure."""

from __future__ import annotations

import math

import pytest

from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.found_level import with_level_doubt


def figure(name: str, value: float, expanded: float) -> Figure:
    return Figure(name, value, "W", expanded, 2.0)


def test_power_doubts_twice_what_the_level_does_and_voltage_as_much() -> None:
    """Both follow from P = V^2 / R (JCGM 100, 5.1.2), with k = 2."""
    power, rms = with_level_doubt([figure("continuous_power", 150.0, 1.0), figure("output_rms", 24.5, 0.1)], 0.002)
    assert power.expanded_uncertainty == pytest.approx(math.hypot(1.0, 2 * 2 * 0.002 * 150.0))
    assert rms.expanded_uncertainty == pytest.approx(math.hypot(0.1, 2 * 0.002 * 24.5))
    assert power.value == 150.0


def test_what_does_not_rise_with_the_level_stays_as_it_is() -> None:
    kept = [figure("thd_n", 0.01, 0.001), figure("efficiency", 0.7, 0.01)]
    assert with_level_doubt(kept, 0.01) == kept


def test_a_bound_has_no_uncertainty_to_add_to() -> None:
    bound = Figure("continuous_power", 140.0, "W", bound="at least")
    assert with_level_doubt([bound], 0.01) == [bound]
