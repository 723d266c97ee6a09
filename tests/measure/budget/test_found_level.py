"""What the doubt of a level adds to the uncertainty of a figure."""

from __future__ import annotations

import math

import pytest
from scipy import stats
from scipy.integrate import quad

from benchctl.measure.budget.figure import Figure, figure_of
from benchctl.measure.budget.found_level import with_level_doubt
from benchctl.measure.uncertainty import rectangular


def figure(name: str, value: float, expanded: float) -> Figure:
    return Figure(name, value, "W", expanded, 2.0)


def test_power_doubts_twice_what_the_level_does_and_voltage_as_much() -> None:
    """Both follow from P = V^2 / R (JCGM 100, 5.1.2), with k = 2."""
    figures = [figure("continuous_power", 150.0, 1.0), figure("output_rms", 24.5, 0.1)]
    power, rms = with_level_doubt(lambda: figures, 0.002)
    assert power.expanded_uncertainty == pytest.approx(math.hypot(1.0, 2 * 2 * 0.002 * 150.0))
    assert rms.expanded_uncertainty == pytest.approx(math.hypot(0.1, 2 * 0.002 * 24.5))
    assert power.value == 150.0


def test_what_does_not_rise_with_the_level_stays_as_it_is() -> None:
    kept = [figure("thd_n", 0.01, 0.001), figure("efficiency", 0.7, 0.01)]
    assert with_level_doubt(lambda: kept, 0.01) == kept


def test_a_bound_has_no_uncertainty_to_add_to() -> None:
    bound = Figure("continuous_power", 140.0, "W", bound="at least")
    assert with_level_doubt(lambda: [bound], 0.01) == [bound]


def test_the_doubt_of_the_level_takes_some_of_the_sharpness_of_a_limit_of_error() -> None:
    """1 W anywhere within its limits and 1 W of a normal doubt, against scipy's convolution of the two."""

    def figures() -> list[Figure]:
        return [figure_of("continuous_power", rectangular(100.0, math.sqrt(3.0)), "W")]

    (doubted,) = with_level_doubt(figures, 0.005)
    reach = doubted.expanded_uncertainty or 0.0
    held, _ = quad(lambda x: stats.norm.cdf(reach - x) - stats.norm.cdf(-reach - x), -math.sqrt(3.0), math.sqrt(3.0))
    assert held / (2.0 * math.sqrt(3.0)) == pytest.approx(0.9545, abs=5e-5)
    assert (doubted.coverage_factor or 0.0) * math.sqrt(2.0) == pytest.approx(reach)
