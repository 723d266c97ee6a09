"""Input impedance from a series resistor: the divider's closed form, and what is refused near its ends."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.input_impedance_figures import (
    DIRECT,
    DIRECT_AGAIN,
    SERIES,
    InputImpedanceContext,
    input_impedance,
)
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import Accuracy
from tests.measure.conftest import digitise


def tone(name: str, rms_v: float, bits: int = 8) -> Capture:
    time_s = np.arange(20_000) * 2e-6
    volts = np.sqrt(2.0) * rms_v * np.sin(2.0 * np.pi * 1e3 * time_s)
    noise = np.random.default_rng(len(name)).normal(0.0, 0.02, time_s.size)
    return Capture(name, 0.0, 2e-6, {"output A": digitise(volts + noise, 12.0, bits=bits)}, 0.0)


def figure_of(ratio: float, resistor_ohm: float = 10e3, again: float = 1.0, accuracy: float = 0.01) -> Figure:
    captures = {DIRECT: tone("direct", 3.0), SERIES: tone("series", 3.0 * ratio), DIRECT_AGAIN: tone("a", 3.0 * again)}
    context = InputImpedanceContext(
        frequency_hz=1e3,
        resistor_ohm=resistor_ohm,
        resistor_accuracy=accuracy,
        accuracy={"output A": (Accuracy(reading=0.03),)},
    )
    (figure,) = input_impedance(captures, {}, context)
    return figure


@pytest.mark.parametrize("input_ohm", [4.7e3, 10e3, 22e3])
def test_the_divider_gives_the_impedance(input_ohm: float) -> None:
    """r = Z / (Z + R), so Z = R r / (1 - r); an error of gain cancels, the resistor's 1 % does not."""
    figure = figure_of(input_ohm / (input_ohm + 10e3))
    expanded = figure.expanded_uncertainty or 0.0
    assert abs(figure.value - input_ohm) < expanded
    # The resistor alone gives 2 * 1 % / sqrt 3.
    assert 0.0115 * input_ohm < expanded < 0.03 * input_ohm


def test_an_output_that_hardly_falls_gives_at_least() -> None:
    figure = figure_of(0.9999)
    assert figure.bound == "at least"
    assert "larger" in figure.bound_reason
    assert figure.value < 10e3 * 0.9999 / 0.0001


def test_a_fall_that_is_hardly_more_than_its_uncertainty_is_a_bound_too() -> None:
    """8 bits leave 0.17 % of the ratio: of a fall of 0.25 % the impedance would be 4 Mohm give or take two thirds."""
    assert figure_of(0.9975).bound == "at least"


def test_an_output_that_is_gone_gives_at_most() -> None:
    figure = figure_of(1e-5)
    assert figure.bound == "at most"
    assert "smaller" in figure.bound_reason
    assert figure.value > 10e3 * 1e-5


def test_drift_between_the_two_direct_records_counts() -> None:
    """2 % between them: half of that as a rectangle, so 0.58 % of r = 0.5, and twice that of Z (1 / (1 - r))."""
    expanded = figure_of(0.5, again=1.02).expanded_uncertainty or 0.0
    assert expanded == pytest.approx(9800.0 * 2.0 * np.hypot(0.0115, 0.00577), rel=0.1)


def test_an_output_that_rises_is_refused() -> None:
    with pytest.raises(MeasurementError, match="something else changed"):
        figure_of(1.05)
