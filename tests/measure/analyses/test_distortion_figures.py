"""Distortion at a low level: a value where it clearly is the amplifier's, else a bound that holds."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.errors import MeasurementError, WrongFrequency
from benchctl.measure.analyses.distortion_figures import DistortionContext, converters_distortion, distortion
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from tests.measure.conftest import digitise
from tests.measure.convolved import reach

RATE_HZ = 500e3
FULL_SCALE_V = 7.0
AMPLITUDE_V = math.sqrt(2.0) * 2.0  # 1 W into 4 ohm


def figures_of(
    second: float, *, bits: int = 12, generator: float = 0.0, linearity: float = 0.0, bend: float = 0.0
) -> dict[str, Figure]:
    """Of 1 kHz with a second harmonic, through a converter whose curve is bent by a part of its range."""
    times_s = np.arange(20_000) / RATE_HZ
    angle = 2.0 * np.pi * 1000.0 * times_s
    values = AMPLITUDE_V * (np.sin(angle) + second * np.cos(2.0 * angle))
    values += np.random.default_rng(3).normal(0.0, 0.6 * FULL_SCALE_V / 2**bits, times_s.size)
    bent = values + bend * FULL_SCALE_V * (2.0 * (values / AMPLITUDE_V) ** 2 - 1.0)
    capture = Capture("1 kHz.npz", 0.0, 1.0 / RATE_HZ, {"output A": digitise(bent, FULL_SCALE_V, bits=bits)}, 0.0)
    context = DistortionContext(
        tones_hz={"1 kHz": 1000.0}, bands_hz={"1 kHz": 20e3}, generator_distortion=generator, linearity=linearity
    )
    return {figure.name: figure for figure in distortion({"1 kHz": capture}, {}, context)}


def test_a_distortion_far_above_the_benchs_own_is_a_value_that_allows_for_it() -> None:
    """THD of a second harmonic of 3 % is 3 %; what the generator may add has a rectangular distribution."""
    figures = figures_of(0.03, generator=0.002)
    assert figures["thd"].value == pytest.approx(0.03, rel=0.02)
    assert figures["thd"].expanded_uncertainty == pytest.approx(reach(0.002), rel=0.05)
    assert figures["thd_n"].value == pytest.approx(0.03 / math.hypot(1.0, 0.03), rel=0.02)
    assert not figures["thd_n"].bound


def test_each_figure_has_the_frequency_of_its_tone_and_the_output_its_level() -> None:
    figures = figures_of(0.03)
    assert {figure.frequency_hz for figure in figures.values()} == {1000.0}
    assert figures["output_rms"].value == pytest.approx(2.0 * math.hypot(1.0, 0.03), rel=1e-3)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_what_a_bent_converter_makes_is_never_told_as_the_amplifiers(sign: float) -> None:
    """A curve off by one step of eight bits makes 2.4 steps of the second harmonic for each step of the amplitude of
    7 V / 256 in 2.83 V: 0.97 %. The amplifier's own 0.5 % may add to it or cancel half of it."""
    step = 1.0 / 256.0
    assert converters_distortion(digitise(np.zeros(9), FULL_SCALE_V, bits=8), AMPLITUDE_V, step) == pytest.approx(
        FULL_SCALE_V * (255 / 256) * step / AMPLITUDE_V
    )
    figures = figures_of(sign * 0.005, bits=8, linearity=step, bend=step)
    for name in ("thd", "thd_n"):
        assert figures[name].bound == "at most"
        assert figures[name].value > 0.005
        assert "themselves" in figures[name].bound_reason


def test_a_clean_amplifier_on_eight_bits_has_a_bound_and_not_the_converters_noise() -> None:
    figures = figures_of(0.0, bits=8, generator=0.001, linearity=1.0 / 256.0)
    assert figures["thd_n"].bound == "at most"
    assert figures["thd_n"].value > 0.001 + FULL_SCALE_V / 256.0 / AMPLITUDE_V


def test_a_generator_that_distorts_as_much_as_is_seen_makes_it_a_bound() -> None:
    figures = figures_of(0.01, generator=0.005)
    assert figures["thd"].bound == "at most"
    assert figures["thd"].value == pytest.approx(0.015, rel=0.02)


def record_of(frequency_hz: float, level_v: float) -> Capture:
    times_s = np.arange(20_000) / RATE_HZ
    values = level_v * np.sin(2.0 * np.pi * frequency_hz * times_s)
    values += np.random.default_rng(4).normal(0.0, 1e-3, times_s.size)
    return Capture("c.npz", 0.0, 1.0 / RATE_HZ, {"output A": digitise(values, FULL_SCALE_V)}, 0.0)


def test_beyond_the_corner_of_a_filter_there_is_no_figure_and_the_others_are_told() -> None:
    """At 500 Hz only the second harmonic of what should be there is left."""
    captures = {"100 Hz": record_of(100.0, AMPLITUDE_V), "500 Hz": record_of(1000.0, 0.05)}
    tones_hz = {"100 Hz": 100.0, "500 Hz": 500.0}
    context = DistortionContext(
        tones_hz=tones_hz, bands_hz=dict.fromkeys(tones_hz, 20e3), generator_distortion=0.0, linearity=0.0
    )
    assert {figure.frequency_hz for figure in distortion(captures, {}, context)} == {100.0}
    silent = {"100 Hz": record_of(200.0, 0.05), "500 Hz": record_of(1000.0, 0.05)}
    with pytest.raises(WrongFrequency):
        distortion(silent, {}, context)


def test_a_missing_record_is_told() -> None:
    context = DistortionContext(tones_hz={"1 kHz": 1e3}, bands_hz={"1 kHz": 2e4}, generator_distortion=0, linearity=0)
    with pytest.raises(MeasurementError, match="no record was taken at 1 kHz"):
        distortion({}, {}, context)
