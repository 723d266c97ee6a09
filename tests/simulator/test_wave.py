"""Cycles of more than one sine."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.simulator.wave import EDGE, Partial, Wave, square, two_tones


def test_a_square_wave_has_the_harmonics_of_its_fourier_series() -> None:
    """4/(πn) for odd n, none for even ones (textbook); steep edges change the lowest ones by less than 1e-5."""
    spectrum = 2 * np.abs(np.fft.rfft(square().cycle)) / len(square().cycle)
    assert spectrum[1:10:2] == pytest.approx([4 / math.pi / n for n in (1, 3, 5, 7, 9)], rel=1e-5)
    assert spectrum[0:10:2] == pytest.approx(0.0, abs=1e-9)
    assert (square().peak, square().rms) == (1.0, pytest.approx(1.0, abs=EDGE))


def test_a_square_wave_through_one_pole_rises_as_the_pole_does() -> None:
    """t(10 to 90 %) = ln 9/(2π·f3): 3.497 µs at 100 kHz (textbook)."""
    through = square().through(lambda hz: 1 / (1 + 1j * hz / 100e3), 1000.0)
    times_s = np.linspace(0.0, 50e-6, 50_001)
    volts = through.at(times_s * 1000.0)
    ten, ninety = (times_s[np.argmax(volts > level)] for level in (-0.8, 0.8))
    assert ninety - ten == pytest.approx(3.497e-6, rel=2e-3)


def test_a_square_wave_through_a_high_pass_tilts() -> None:
    """The top falls from 2/(1+x) to 2x/(1+x) with x = exp(-πfc/f) (textbook); fc/f = 0.02."""
    through = square().through(lambda hz: 1j * hz / (20.0 + 1j * hz), 1000.0)
    top, end = through.at(np.array([0.001, 0.499]))
    x = math.exp(-math.pi * 0.02)
    passed = [2 / (1 + x) * x ** (2 * turns) for turns in (0.001, 0.499)]
    assert [top, end] == pytest.approx(passed, rel=1e-4)


def test_two_tones_have_the_rms_of_both_and_the_peak_of_their_sum() -> None:
    """4:1 is sqrt(0.68) of the sine with the same peak (closed form)."""
    wave = two_tones(3, 350, 0.25)
    assert wave.rms / wave.peak == pytest.approx(math.sqrt(0.68) / math.sqrt(2), rel=2e-4)
    turns = np.linspace(0, 1, 997)
    sum_of_both = np.sin(2 * np.pi * 3 * turns) + 0.25 * np.sin(2 * np.pi * 350 * turns)
    assert wave.at(turns) == pytest.approx(sum_of_both, abs=1e-9)


def test_a_dc_part_stays_what_it_is() -> None:
    wave = Wave.of_samples(0.25 + 0.5 * np.sin(2 * np.pi * np.arange(100) / 100))
    assert wave.cycle.mean() == pytest.approx(0.25)
    assert wave.at(np.array([0.0, 0.25, 0.75])) == pytest.approx([0.25, 0.75, -0.25])
    assert wave.times(2.0).through(lambda hz: np.ones_like(hz, dtype=complex), 1.0).peak == pytest.approx(1.5)


@pytest.mark.parametrize(("sines", "near"), [(5, 1e-12), (40, 1e-5)])
def test_a_wave_is_the_sum_of_its_sines_few_or_many(sines: int, near: float) -> None:
    partials = [Partial(n, 1.0 / n, 0.3 * n) for n in range(1, sines)]
    turns = np.random.default_rng(3).uniform(-5, 5, 500)
    expected = sum(part * np.sin(2 * np.pi * n * turns + phase) for n, part, phase in partials)
    assert Wave.of_partials(partials).at(turns) == pytest.approx(expected, abs=near)
