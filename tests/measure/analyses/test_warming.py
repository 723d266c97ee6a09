"""A final temperature as a figure, from readings that are on their way to it."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.warming import WarmingContext, warming
from benchctl.measure.budget.figure import Figure
from benchctl.measure.uncertainty import Accuracy


def figures_of(spans: float, *, unreadable: int = 0) -> dict[str, Figure]:
    """Of a heatsink from 25 to 75 degC with 600 s, seen for so many of these, every 5 s, scattering by 20 mK."""
    times_s = np.arange(0.0, spans * 600.0, 5.0)
    scatter = 0.02 * np.random.default_rng(7).standard_normal(times_s.size)
    temperatures_c = 75.0 - 50.0 * np.exp(-times_s / 600.0) + scatter
    temperatures_c[:unreadable] = np.nan
    readings = {"time": times_s.tolist(), "heatsink": temperatures_c.tolist()}
    context = WarmingContext(readings_accuracy={"heatsink": (Accuracy(fixed=1.0),)})
    return {figure.name: figure for figure in warming({}, readings, context)}


def test_the_end_has_the_uncertainty_of_prediction_and_thermometer() -> None:
    final = figures_of(2.0)["final_heatsink_temperature"]
    assert abs(final.value - 75.0) <= (final.expanded_uncertainty or 0.0)
    assert (final.expanded_uncertainty or 0.0) >= 0.95  # K: of 1 K of limit of error, rectangular


def test_the_time_constant_is_told() -> None:
    assert figures_of(3.0)["heatsink_time_constant"].value == pytest.approx(600.0, rel=0.02)


def test_too_young_a_curve_tells_the_temperature_of_now_alone() -> None:
    assert set(figures_of(0.1)) == {"heatsink_temperature"}


def test_readings_that_failed_are_left_out() -> None:
    assert figures_of(2.0, unreadable=3)["final_heatsink_temperature"].value == pytest.approx(75.0, abs=0.3)


def test_no_reading_gives_no_figure() -> None:
    with pytest.raises(MeasurementError, match="never read"):
        warming({}, {"time": [], "heatsink": []}, WarmingContext())
