"""An inverted output is named, and the phase between two outputs is known as well as the channels are alike."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.measure.analyses.polarity_figures import PolarityContext, inverted_in_words, polarity, polarity_tone_hz
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from tests.measure.conftest import digitise

TONES_HZ = {"1000 Hz": 1000.0, "10000 Hz": 10_000.0}
LEVEL_V = 0.1


def figures_of(
    phases_rad: dict[str, float], delay_s: float = 0.0, skew_s: float = 100e-9, gain: float = 30.0
) -> list[Figure]:
    """Each channel -> its phase at every tone; output B comes `delay_s` later."""
    captures = {}
    for role, tone_hz in TONES_HZ.items():
        time_s = np.arange(20_000) * 5e-7
        traces = {}
        for channel, phase_rad in phases_rad.items():
            late_s = delay_s if channel == "B" else 0.0
            volts = gain * LEVEL_V * math.sqrt(2.0) * np.sin(2.0 * np.pi * tone_hz * (time_s - late_s) + phase_rad)
            noise = np.random.default_rng(ord(channel)).normal(0.0, 0.02, time_s.size)
            traces[f"output {channel}"] = digitise(volts + noise, 12.0, bits=8)
        captures[role] = Capture(role, 0.0, 5e-7, traces, 0.0)
    context = PolarityContext(tones_hz=TONES_HZ, level_v=LEVEL_V, polarity_hz=1000.0, skew_s=skew_s)
    return polarity(captures, {}, context)


def values(figures: list[Figure], name: str) -> dict[str, float]:
    return {figure.channel: figure.value for figure in figures if figure.name == name}


def test_outputs_that_follow_the_generator_have_polarity_one() -> None:
    figures = figures_of({"A": 0.0, "B": 0.0})
    assert values(figures, "polarity") == {"A": 1.0, "B": 1.0}
    assert list(inverted_in_words(figures)) == []


def test_an_inverted_output_is_named_against_generator_and_first_output() -> None:
    figures = figures_of({"A": 0.1, "B": math.pi})
    assert values(figures, "polarity") == {"A": 1.0, "B": -1.0}
    said = list(inverted_in_words(figures))
    assert said[0] == "output B is inverted against the generator"
    assert said[1].startswith("output B is inverted against the first output")


def test_where_a_filter_turns_the_phase_by_a_quarter_no_polarity_is_told() -> None:
    assert values(figures_of({"A": math.pi / 2.0, "B": 0.0}), "polarity") == {"B": 1.0}


def test_a_delay_between_outputs_is_a_phase_that_rises_with_frequency() -> None:
    """2 us are 2 pi f 2e-6: 0.72 deg at 1 kHz and 7.2 deg at 10 kHz."""
    figures = figures_of({"A": 0.0, "B": 0.0}, delay_s=2e-6)
    for figure in figures:
        if figure.name == "channel_phase":
            truth = -2.0 * math.pi * (figure.frequency_hz or 0.0) * 2e-6
            assert abs(figure.value - truth) < (figure.expanded_uncertainty or 0.0)


def test_the_skew_of_the_channels_is_its_uncertainty() -> None:
    """100 ns either way at 10 kHz: 2 * 2 pi 1e4 * 1e-7 / sqrt 3 = 0.416 deg; half a sample of 0.5 us 1.039 deg."""
    found = [f for f in figures_of({"A": 0.0, "B": 0.0}) if f.name == "channel_phase" and f.frequency_hz == 1e4]
    assert math.degrees(found[0].expanded_uncertainty or 0.0) == pytest.approx(math.hypot(0.416, 1.039), rel=0.01)
    finer = [f for f in figures_of({"A": 0.0, "B": 0.0}, skew_s=1e-9) if f.name == "channel_phase"]
    assert (finer[-1].expanded_uncertainty or 1.0) < (found[0].expanded_uncertainty or 0.0)


def test_a_silent_output_has_neither() -> None:
    figures = figures_of({"A": 0.0, "B": 0.0}, gain=30.0)
    assert {figure.name for figure in figures} == {"polarity", "channel_phase"}
    assert polarity_tone_hz((50.0, 800.0, 10_000.0)) == 800.0
