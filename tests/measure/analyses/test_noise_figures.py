"""Figures of noise: volts with what chance leaves of them, ratios, and bounds where the converter is too coarse."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.noise_figures import NoiseContext, noise_figures
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from tests.measure.conftest import digitise

RATE_HZ = 100e3


def figures_of(
    noise_v: float, full_scale_v: float, *, span_s: float = 2.0, rated_w: float | None = None
) -> dict[str, Figure]:
    """Of white noise of `noise_v` RMS up to 50 kHz, through a 12-bit converter."""
    values = np.random.default_rng(6).normal(0.0, noise_v, round(span_s * RATE_HZ))
    capture = Capture("noise.npz", 0.0, 1.0 / RATE_HZ, {"output A": digitise(values, full_scale_v)}, 0.0)
    context = NoiseContext(load_ohm=4.0, rated_w=rated_w)
    return {figure.name: figure for figure in noise_figures({"noise": capture}, {}, context)}


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
    assert figure.expanded_uncertainty == pytest.approx(by_theory, rel=0.6)  # from a scatter of eight parts


def test_noise_under_the_converters_steps_is_a_bound() -> None:
    figures = figures_of(1e-3, 20.0)
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
