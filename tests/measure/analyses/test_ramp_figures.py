"""Figures of a first power-up, from readings whose means and scatter are worked out by hand."""

from __future__ import annotations

import math

import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.ramp_figures import RampContext, ramp
from benchctl.measure.budget.figure import Figure
from benchctl.measure.uncertainty import Accuracy

READINGS = {
    "supply_voltage": [4.0, 4.0, 14.4, 14.4],
    "supply_current_before": [0.01, 0.01, 1.50, 1.52],
    "supply_current": [0.01, 0.01, 1.60, 1.62],
}


def figures_of(*, is_complete: bool = True, accuracy: float = 0.0) -> dict[str, Figure]:
    """Two readings together at each of two voltages."""
    context = RampContext(
        is_complete=is_complete,
        readings_together=2,
        readings_accuracy={"supply_current": (Accuracy(fixed=accuracy),)},
    )
    return {figure.name: figure for figure in ramp({}, READINGS, context)}


def test_the_last_voltage_the_highest_current_and_the_largest_rise_are_told() -> None:
    figures = figures_of()
    assert figures["ramp_voltage"].value == pytest.approx(14.4)
    assert figures["ramp_current"].value == pytest.approx(1.61)
    assert figures["idle_current_rise"].value == pytest.approx(0.10)


def test_an_error_of_zero_cancels_in_a_rise_and_scatter_does_not() -> None:
    """Two pairs that differ by 20 mA, two that do not: four degrees of freedom; the means that scatter keep u = 10 mA
    each. Both are rounded to 20 mA, as the readings show: +-10 mA. Of the rise u is 16.3 mA, and its degrees of freedom
    are (2 + 2 / 3)^2 / (2^2 / 4) = 7.1, for which k is 2.429 (Student, 7, 95.45 %); a little less, as limits are
    a quarter of its variance."""
    rise = figures_of(accuracy=0.1)["idle_current_rise"]
    assert rise.coverage_factor == pytest.approx(2.429, abs=0.006)
    assert rise.expanded_uncertainty == pytest.approx(2.429 * 0.01 * math.sqrt(2.0 + 2.0 / 3.0), rel=3e-3)


def test_only_a_complete_ramp_tells_the_idle_current() -> None:
    assert figures_of()["idle_current"].value == pytest.approx(1.61)
    assert "idle_current" not in figures_of(is_complete=False)


def test_a_ramp_without_readings_gives_no_figures() -> None:
    with pytest.raises(MeasurementError, match="not read at each step"):
        ramp({}, {"supply_voltage": [4.0]}, RampContext(is_complete=False))
