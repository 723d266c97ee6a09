"""Figures of noise: volts with what chance leaves of them, ratios, and bounds where the converter is too coarse."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.noise_figures import NoiseContext, noise_figures, strongest_lines
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from tests.measure.conftest import digitise

RATE_HZ = 100e3


def capture_of(values: np.ndarray, full_scale_v: float, name: str = "noise.npz") -> Capture:
    return Capture(name, 0.0, 1.0 / RATE_HZ, {"output A": digitise(values, full_scale_v)}, 0.0)


def figures_of(
    noise_v: float, full_scale_v: float, *, span_s: float = 2.0, rated_w: float | None = None, own_v: float = 1e-4
) -> dict[str, Figure]:
    """Of white noise of `noise_v` RMS up to 50 kHz, through a 12-bit converter whose input has noise of its own."""
    rng = np.random.default_rng(6)
    samples = round(span_s * RATE_HZ)
    values, own = rng.normal(0.0, noise_v, samples), rng.normal(0.0, own_v, (2, samples))
    captures = {
        "noise": capture_of(values + own[0], full_scale_v),
        "amplifier off": capture_of(own[1], full_scale_v, "off.npz"),
    }
    context = NoiseContext(load_ohm=4.0, rated_w=rated_w, bits=12)
    return {figure.name: figure for figure in noise_figures(captures, {}, context)}


def test_white_noise_keeps_what_falls_into_the_band() -> None:
    """19.98 kHz of 50 kHz."""
    figure = figures_of(1e-3, 0.02)["output_noise"]
    assert figure.value == pytest.approx(1e-3 * math.sqrt(19.98 / 50.0), rel=0.01)
    assert figure.unit == "V"


def test_the_uncertainty_is_what_chance_leaves() -> None:
    """The standard deviation of an RMS over a band B and a time T is 1 / (2 sqrt(B T)) of it (Rice, from memory); a
    Hann window, whose mean fourth power is 35/128, leaves (3/8)^2 / (35/128) of the time."""
    figure = figures_of(1e-3, 0.02)["output_noise"]
    by_theory = 2.0 * figure.value / (2.0 * math.sqrt(19.98e3 * 2.0 * (3 / 8) ** 2 / (35 / 128)))
    assert figure.expanded_uncertainty == pytest.approx(by_theory, rel=0.1)
    assert figure.capture == "noise.npz off.npz"


def test_noise_under_the_converters_steps_is_a_bound() -> None:
    figures = figures_of(1e-3, 20.0)
    assert "less than a step" in figures["output_noise"].bound_reason
    assert figures["output_noise"].bound == "at most"
    assert figures["signal_to_noise_1w"].bound == "at least"
    assert figures["output_noise"].expanded_uncertainty is None


def test_a_load_without_a_rating_has_no_ratio_to_it() -> None:
    assert "signal_to_noise_rated" not in figures_of(1e-3, 0.02)
    assert "signal_to_noise_rated" in figures_of(1e-3, 0.02, rated_w=150.0)


def test_a_signal_to_noise_ratio_of_1_mv_is_66_db() -> None:
    """2 V over 1 mV: 66.0206 dB (by definition of the decibel), for an A-weighted noise of 1 mV."""
    figures = figures_of(1e-3, 0.02)
    ratio = figures["signal_to_noise_1w"].value * figures["output_noise_a_weighted"].value / 1e-3
    assert 20 * math.log10(ratio) == pytest.approx(66.0206, abs=1e-4)


def test_a_record_of_less_than_four_periods_of_20_hz_gives_no_figure() -> None:
    with pytest.raises(MeasurementError, match="do not hold 4 periods"):
        figures_of(1e-3, 0.02, span_s=0.1)


def test_a_missing_record_is_told() -> None:
    with pytest.raises(MeasurementError, match="no capture"):
        noise_figures({}, {}, NoiseContext(load_ohm=4.0))


def test_a_dead_amplifier_has_no_value_of_its_own() -> None:
    """What the oscilloscope shows by itself is not called the amplifier's."""
    figures = figures_of(0.0, 0.02, own_v=1e-3)
    assert figures["output_noise"].bound == "at most"
    assert "while the amplifier is off" in figures["output_noise"].bound_reason
    assert figures["signal_to_noise_1w"].bound == "at least"


def lines_of(hum_v: float, own_hum_v: float) -> tuple[list[Figure], list[str]]:
    """The line figures and the names of hum of 50 Hz, while the amplifier is on and off."""
    times_s = np.arange(200_000) / RATE_HZ
    hum = math.sqrt(2.0) * np.sin(2.0 * np.pi * 50.1 * times_s)
    rng = np.random.default_rng(7)
    captures = {
        "noise": capture_of(rng.normal(0.0, 1e-4, times_s.size) + hum_v * hum, 0.02),
        "amplifier off": capture_of(rng.normal(0.0, 1e-4, times_s.size) + own_hum_v * hum, 0.02, "off.npz"),
    }
    context = NoiseContext(load_ohm=4.0, bits=12)
    figures = [figure for figure in noise_figures(captures, {}, context) if figure.name == "noise_line"]
    return figures, [line.in_words for line in strongest_lines(captures, "A", context)]


def test_a_line_that_is_there_only_with_the_amplifier_on_has_its_level_and_name() -> None:
    (figure,), names = lines_of(1e-3, 0.0)
    assert figure.frequency_hz == 50.0
    assert figure.value == pytest.approx(1e-3, rel=0.01)
    assert not figure.bound
    assert names == ["mains frequency, only with the amplifier on"]


def test_a_line_that_is_there_with_the_amplifier_off_is_a_bound_of_both() -> None:
    """They add by their phase: of 1 mV beside 0.8 mV the amplifier's may be as much as 1.8 mV."""
    (figure,), names = lines_of(1e-3, 8e-4)
    assert figure.bound == "at most"
    assert figure.value == pytest.approx(1.8e-3, rel=0.02)
    assert names == ["mains frequency, also with the amplifier off"]
