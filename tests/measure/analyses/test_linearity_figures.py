"""Gain linearity: closed forms, and bounds where noise or the generator leave nothing to tell."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.linearity_figures import LinearityContext, linearity
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import Accuracy
from tests.measure.conftest import digitise
from tests.measure.convolved import reach

RATE_HZ = 200e3
GAIN = 30.0
REFERENCE_V = 0.1


def record(name: str, output_v: float, noise_v: float = 1e-5) -> Capture:
    """A tone of 1 kHz at the output, V RMS, on a range that fits."""
    times_s = np.arange(8_000) / RATE_HZ
    values = math.sqrt(2.0) * output_v * np.sin(2.0 * np.pi * 1000.0 * times_s)
    values += np.random.default_rng(len(name)).normal(0.0, noise_v, times_s.size)
    trace = digitise(values, 3.0 * max(math.sqrt(2.0) * output_v, 5.0 * noise_v))
    return Capture(f"{name}.npz", 0.0, 1.0 / RATE_HZ, {"output A": trace}, 0.0)


def deviation(level_v: float, output_v: float, noise_v: float = 1e-5, **accuracies: Accuracy) -> Figure:
    """Of one level; the reference level has the gain of 30."""
    captures = {
        "reference": record("reference", GAIN * REFERENCE_V),
        "level": record("level", output_v, noise_v),
    }
    context = LinearityContext(
        frequency_hz=1000.0,
        levels_v={"reference": REFERENCE_V, "level": level_v},
        level_accuracy=(accuracies.get("level", Accuracy()),),
        accuracy={"output A": (accuracies.get("output", Accuracy()),)},
    )
    (figure,) = linearity(captures, {}, context)
    return figure


@pytest.mark.parametrize("ratio", [1.0, 10 ** (-3 / 20), 1.05])
def test_it_is_the_ratio_of_the_gains(ratio: float) -> None:
    """A gain 3 dB down is 10^(-3/20) of it, by definition of the decibel."""
    figure = deviation(0.01, 0.01 * GAIN * ratio)
    assert figure.value == pytest.approx(ratio, rel=1e-3)
    assert figure.capture == "level.npz"


def test_generator_and_oscilloscope_may_be_off_by_another_amount_at_each_level() -> None:
    """Limits of error of 1 % and 3 %, each twice and each anywhere within them."""
    figure = deviation(0.01, 0.01 * GAIN, level=Accuracy(reading=0.01), output=Accuracy(reading=0.03))
    assert figure.expanded_uncertainty == pytest.approx(reach(0.01, 0.01, 0.03, 0.03), rel=0.02)


def test_an_output_that_is_no_more_than_noise_is_a_bound() -> None:
    figure = deviation(1e-4, 0.0, noise_v=3e-3)
    assert figure.bound == "at most"
    assert "noise" in figure.bound_reason


def test_a_level_that_the_generator_hardly_knows_is_a_bound() -> None:
    """1 mV with a fixed error of 1 mV may be any from nothing to 2 mV: in 95.45 % of cases, any up to 1.95 mV."""
    figure = deviation(1e-3, 1e-3 * GAIN, level=Accuracy(fixed=1e-3))
    assert figure.bound == "at most"
    assert figure.value > 1.95
    assert "generator" in figure.bound_reason


def test_a_silent_reference_is_told() -> None:
    captures = {"reference": record("reference", 0.0, 1e-3), "level": record("level", 0.3)}
    context = LinearityContext(frequency_hz=1000.0, levels_v={"reference": REFERENCE_V, "level": 0.01})
    with pytest.raises(MeasurementError, match="no more than noise at the reference level"):
        linearity(captures, {}, context)
