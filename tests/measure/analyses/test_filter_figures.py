"""Corner, slope and order of Butterworth filters whose stop band is lost in noise, from their closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.errors import MeasurementError, SilentRecord
from benchctl.measure.analyses.filter_figures import filter_figures
from benchctl.measure.analyses.response_figures import ResponseContext
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import Accuracy
from tests.measure.conftest import digitise

LEVEL_V = 0.25
THIRD_OCTAVES_HZ = [1000.0 * 10.0 ** (n / 10.0) for n in range(-20, 17)]  # 10 Hz to 40 kHz


def low_pass(frequency_hz: float, corner_hz: float, order: int) -> float:
    """Magnitude of a Butterworth low-pass, textbook: 1 / sqrt(1 + (f / f0)^2n)."""
    return 1.0 / math.sqrt(1.0 + (frequency_hz / corner_hz) ** (2 * order))


def corner_re(ratio: float, order: int) -> float:
    """Where the gain is half that power at `ratio` of the corner, over the corner: (1 + 2 r^2n)^(1 / 2n)."""
    return float((1.0 + 2.0 * ratio ** (2 * order)) ** (1.0 / (2 * order)))


def figures_of(
    order: int, corner_hz: float, *, noise_v: float = 0.2, high_pass: bool = False, reference_hz: float | None = None
) -> dict[str, Figure]:
    """An amplifier of 30 dB with one filter; by default its class D leaves 0.2 V of its carrier at the output."""
    captures = {}
    for frequency_hz in THIRD_OCTAVES_HZ:
        ratio = corner_hz**2 / frequency_hz if high_pass else frequency_hz
        gain = 31.6 * low_pass(ratio, corner_hz, order)
        time_s = np.arange(20_000) * (10.0 / frequency_hz / 20_000)
        volts = math.sqrt(2.0) * LEVEL_V * gain * np.sin(2.0 * np.pi * frequency_hz * time_s)
        noise = np.random.default_rng(int(frequency_hz) + order).normal(0.0, noise_v, time_s.size)
        trace = digitise(volts + noise, 2.6 * (math.sqrt(2.0) * LEVEL_V * gain + 5.0 * noise_v))
        captures[f"{frequency_hz:.6g} Hz"] = Capture("record.npz", 0.0, float(time_s[1]), {"output A": trace}, 0.0)
    tones_hz = dict(zip(captures, THIRD_OCTAVES_HZ, strict=True))
    in_band_hz = reference_hz or (corner_hz * 8.0 if high_pass else corner_hz / 4.0)
    context = ResponseContext(
        tones_hz=tones_hz, level_v=LEVEL_V, reference_hz=in_band_hz, accuracy={"output A": (Accuracy(reading=0.005),)}
    )
    return {figure.name: figure for figure in filter_figures(captures, {}, context) if figure.name != "gain"}


@pytest.mark.parametrize("order", [2, 3, 4])
@pytest.mark.parametrize("corner_hz", [80.0, 120.0, 250.0])
def test_a_low_pass_is_told_from_the_points_that_are_left_of_noise(order: int, corner_hz: float) -> None:
    """The carrier's 2 mV in a fit lies 75 dB below the band: three octaves of a fourth-order filter."""
    figures = figures_of(order, corner_hz)
    corner, slope = figures["low_pass_corner"], figures["low_pass_slope"]
    expected_hz = corner_hz * corner_re(1.0 / 4.0, order)
    assert abs(corner.value - expected_hz) <= (corner.expanded_uncertainty or 0.0) < 0.05 * corner_hz
    assert slope.value == pytest.approx(6.02 * order, abs=(slope.expanded_uncertainty or 0.0) + 0.2)
    assert figures["low_pass_order"].value == order


@pytest.mark.parametrize("order", [2, 4])
def test_a_high_pass_is_told_from_the_points_that_are_left_of_noise(order: int) -> None:
    figures = figures_of(order, 1000.0, high_pass=True)
    corner = figures["high_pass_corner"]
    expected_hz = 1000.0 / corner_re(1.0 / 8.0, order)
    assert abs(corner.value - expected_hz) <= (corner.expanded_uncertainty or 0.0)
    assert figures["high_pass_order"].value == order


def test_noise_that_leaves_too_little_of_a_slope_leaves_the_corner() -> None:
    """20 mV in a fit, 50 dB below the band: an octave and a half of a fifth-order filter, too near for its slope."""
    figures = figures_of(5, 120.0, noise_v=2.0)
    assert abs(figures["low_pass_corner"].value - 120.0) <= (figures["low_pass_corner"].expanded_uncertainty or 0.0)
    assert "low_pass_order" not in figures


def test_a_reference_in_the_noise_is_named_with_what_to_set() -> None:
    with pytest.raises(SilentRecord, match="no output is more than noise at the reference of 1000 Hz; set `reference`"):
        figures_of(4, 80.0, reference_hz=1000.0)


def test_no_filter_is_no_figure() -> None:
    with pytest.raises(MeasurementError, match="no filter shows"):
        figures_of(1, 1e9, reference_hz=1000.0)
