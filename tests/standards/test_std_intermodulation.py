"""Intermodulation of y = x + 0.04 x^2 + 0.012 x^3 against its products, worked out by hand from the angle sums.

Definitions: IEC 60268-3:2013, 14.12.7 (modulation distortion) and 14.12.8 (difference frequency distortion).
"""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.instruments.bursts.two_tones import TwoTones
from benchctl.measure.analyses.intermodulation_figures import (
    INTERMODULATION,
    IntermodulationContext,
    Method,
    intermodulation,
)
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from tests.measure.conftest import digitise

RATE_HZ = 200e3


def figures_of(  # noqa: PLR0917 - what an amplifier and its record are made of
    method: Method,
    tones_hz: tuple[float, float],
    parts: tuple[float, float],
    clock: float = 1.0,
    bits: int = 16,
    bend: float = 1.0,
) -> dict[str, Figure]:
    """Of an amplifier with that polynomial, or so much of it; `clock`: the generator's over the oscilloscope's."""
    time_s = np.arange(round(0.2 * RATE_HZ)) / RATE_HZ
    low, high = (
        part * np.sin(2.0 * np.pi * clock * tone_hz * time_s + 0.3)
        for part, tone_hz in zip(parts, tones_hz, strict=True)
    )
    x = low + high
    noise = np.random.default_rng(5).normal(0.0, 1e-5, time_s.size)
    trace = digitise(x + bend * (0.04 * x**2 + 0.012 * x**3) + noise, 3.2, bits=bits)
    capture = Capture("two.npz", 0.0, 1.0 / RATE_HZ, {"output A": trace}, 0.0)
    context = IntermodulationContext(method=method, tones_hz=tones_hz)
    return {figure.name: figure for figure in intermodulation({INTERMODULATION: capture}, {}, context)}


@pytest.mark.parametrize("clock", [1.0, 1.0001])
def test_modulation_distortion_of_second_and_third_order(clock: float) -> None:
    """60 Hz and 7 kHz, 4 to 1: sidebands 0.0100 and 0.00225 over 0.254640625, added arithmetically."""
    figures = figures_of("modulation", (60.0, 7000.0), (1.0, 0.25), clock)
    assert figures["modulation_distortion_2"].value == pytest.approx(0.07854206, rel=1e-3)
    assert figures["modulation_distortion_3"].value == pytest.approx(0.01767196, rel=2e-3)


def test_the_root_sum_square_of_all_four_sidebands_is_another_number() -> None:
    """5.692607 % where second order alone, added arithmetically, is 7.854206 %."""
    figures = figures_of("modulation", (60.0, 7000.0), (1.0, 0.25))
    assert figures["modulation_distortion_rss"].value == pytest.approx(0.05692607, rel=1e-3)


def test_difference_frequency_distortion_is_over_the_sum_of_both_tones() -> None:
    """19 and 20 kHz of 0.5 each: 0.993295 % and 0.223491 %; over one tone the first would read 1.986591 %."""
    figures = figures_of("difference", (19e3, 20e3), (0.5, 0.5))
    assert figures["difference_distortion_2"].value == pytest.approx(0.00993295, rel=1e-3)
    assert figures["difference_distortion_3"].value == pytest.approx(0.00223491, rel=3e-3)


def test_eight_bits_show_the_same_within_their_uncertainty() -> None:
    for name, truth in (("modulation_distortion_2", 0.07854206), ("modulation_distortion_3", 0.01767196)):
        figure = figures_of("modulation", (60.0, 7000.0), (1.0, 0.25), bits=8)[name]
        assert abs(figure.value - truth) < (figure.expanded_uncertainty or 0.0)


@pytest.mark.parametrize("bits", [8, 16])
def test_of_a_straight_amplifier_no_more_than_a_bound_is_known(bits: int) -> None:
    figures = figures_of("modulation", (60.0, 7000.0), (1.0, 0.25), bits=bits, bend=0.0)
    assert {figure.bound for figure in figures.values()} == {"at most"}
    assert all(figure.value < 0.005 for figure in figures.values())


@pytest.mark.parametrize(
    ("method", "parts", "times"), [("modulation", (0.8, 0.2), 4.0), ("difference", (0.5, 0.5), 0.75)]
)
def test_what_a_bend_makes_of_two_tones_is_bounded_by_what_it_makes_of_a_sine(
    method: Method, parts: tuple[float, float], times: float
) -> None:
    """Of a sine of peak 1 the bend makes h2 = 0.02 / 1.009 and h3 = 0.003 / 1.009 (angle sums)."""
    tones_hz = (60.0, 7000.0) if method == "modulation" else (19e3, 20e3)
    figures = figures_of(method, tones_hz, parts)
    assert figures[f"{method}_distortion_2"].value < times * 0.02 / 1.009
    assert figures[f"{method}_distortion_3"].value < times * 0.003 / 1.009 * 1.01


@pytest.mark.parametrize(("share", "rms"), [(0.2, 0.824621), (0.5, 0.707107)])
def test_two_tones_have_the_peak_of_the_sine_and_less_of_its_power(share: float, rms: float) -> None:
    """rms over that of the sine: sqrt(0.8^2 + 0.2^2) = 0.824621 at 4 to 1, sqrt(1/2) at 1 to 1."""
    tones = TwoTones(60.0, 7000.0, share, level_v=1.0)
    values = tones.values()
    assert np.hypot(values["low_tone_v"], values["high_tone_v"]) == pytest.approx(rms, abs=1e-6)
    assert np.max(np.abs(tones.samples(65_536))) == pytest.approx(1.0, abs=1e-3)
    assert tones.common_hz == 20.0
