"""The amplifier's noise without the oscilloscope's: values inside their uncertainty, or bounds that hold."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from scipy import signal

from benchctl.measure.noise.own import Level, NoiseRecord, amplifiers_noise, most_noise
from tests.measure.conftest import digitise

RATE_HZ = 100e3
STEP_V = 0.02 / 256  # of eight bits over 20 mV
# Of noise that is even up to half the sample rate, the audio band has so much.
IN_BAND = math.sqrt(19.98e3 / 50e3)


def record(rng: np.random.Generator, noise_v: float, hum_v: float = 0.0, span_s: float = 0.5) -> NoiseRecord:
    """An input of eight bits whose mean lies anywhere between two steps, with hum of any phase."""
    times_s = np.arange(round(span_s * RATE_HZ)) / RATE_HZ
    hum = hum_v * math.sqrt(2.0) * np.sin(2.0 * np.pi * 60.0 * times_s + rng.uniform(0.0, 2.0 * np.pi))
    values = rng.normal(0.0, noise_v, times_s.size) + hum + rng.uniform(-0.5, 0.5) * STEP_V
    return NoiseRecord(digitise(values, 0.02, bits=8), 1.0 / RATE_HZ, 8)


def levels(amplifier_v: float, own_v: float, hum_v: float = 0.0, times: int = 15) -> Iterator[Level]:
    """Draws of a noise in the audio band, in V RMS: the amplifier's own, and what the input adds."""
    for seed in range(times):
        rng = np.random.default_rng(seed)
        whole = record(rng, math.hypot(amplifier_v, own_v), hum_v)
        yield amplifiers_noise(whole, record(rng, own_v), np.ones_like(whole.spectrum.frequencies_hz))


@pytest.mark.parametrize(
    ("steps", "own_steps"), [(4.0, 1.0), (2.0, 1.0), (2.0, 0.1), (3.0, 0.4)], ids=lambda each: f"{each:g}"
)
def test_what_the_oscilloscope_adds_is_subtracted_within_the_uncertainty(steps: float, own_steps: float) -> None:
    """Of thirty draws 28 or 29 are expected within two standard uncertainties, and fewer than 26 once in sixty
    (binomial)."""
    drawn = list(levels(steps * STEP_V, own_steps * STEP_V, times=30))
    assert not any(level.is_bound for level in drawn)
    off = [(level.volts - steps * STEP_V * IN_BAND) / level.volts_u for level in drawn]
    assert sum(abs(each) < 2.0 for each in off) >= 26


@pytest.mark.parametrize("own_steps", [0.0, 0.1, 0.3, 0.5, 1.0, 3.0])
def test_a_dead_amplifier_has_no_noise_but_a_bound_that_is_not_nothing(own_steps: float) -> None:
    drawn = list(levels(0.0, own_steps * STEP_V))
    assert all(level.is_bound for level in drawn)
    assert all(level.volts > 0.0 for level in drawn)


def test_the_bound_of_a_dead_amplifier_is_far_below_the_oscilloscopes_own_noise() -> None:
    """The difference of two like squares is known to a tenth and better, so its root to a third."""
    assert all(level.volts < 0.4 * 2.0 * STEP_V * IN_BAND for level in levels(0.0, 2.0 * STEP_V))


def test_noise_that_ends_far_below_half_the_sample_rate_is_known_as_well() -> None:
    """Three steps up to a tenth of half the rate (a Butterworth filter of scipy's): its differences are less than a
    rounding, but the band shows it."""
    rng = np.random.default_rng(4)
    slow = signal.sosfilt(signal.butter(8, 0.1, output="sos"), rng.normal(0.0, 1.0, 250_000))
    values = 3.0 * STEP_V * slow / np.std(slow)
    fast = NoiseRecord(digitise(values, 0.02, bits=8), 1.0 / 500e3, 8)
    quiet = NoiseRecord(digitise(rng.normal(0.0, 0.7 * STEP_V, 250_000), 0.02, bits=8), 1.0 / 500e3, 8)
    level = amplifiers_noise(fast, quiet, np.ones_like(fast.spectrum.frequencies_hz))
    assert not level.is_bound
    # Of the noise up to 25 kHz the band has 20 kHz and what lies below 20 Hz not.
    assert level.volts == pytest.approx(3.0 * STEP_V * math.sqrt(19.98e3 / 25e3), rel=0.03)


@pytest.mark.parametrize("steps", [0.1, 0.2, 0.3, 0.45])
def test_noise_below_a_step_is_a_bound_that_holds(steps: float) -> None:
    drawn = list(levels(steps * STEP_V, 0.05 * STEP_V, times=30))
    assert all(level.is_bound for level in drawn)
    assert all(level.volts >= steps * STEP_V * IN_BAND for level in drawn)


def test_a_tone_that_no_code_shows_is_within_the_bound() -> None:
    """A sine of 0.45 steps peak, in the middle of a step of a converter without noise."""
    times_s = np.arange(50_000) / RATE_HZ
    tone_v = 0.45 * STEP_V * np.sin(2.0 * np.pi * 1000.0 * times_s)
    still = NoiseRecord(digitise(tone_v, 0.02, bits=8), 1.0 / RATE_HZ, 8)
    level = amplifiers_noise(still, still, np.ones_like(still.spectrum.frequencies_hz))
    assert level.volts == pytest.approx(STEP_V / 2.0)
    assert level.is_bound


def test_without_a_record_of_the_oscilloscope_alone_the_noise_is_a_bound_that_says_why() -> None:
    whole = record(np.random.default_rng(1), 3.0 * STEP_V)
    level = amplifiers_noise(whole, None, np.ones_like(whole.spectrum.frequencies_hz), "the amplifier is on")
    assert level.is_bound
    assert level.reason == "the amplifier is on"
    assert level.volts >= 3.0 * STEP_V * IN_BAND


def test_hum_of_both_records_is_doubt_and_not_subtracted() -> None:
    """Hum adds by its phase: what the amplifier has of it lies between the difference and the sum of both."""
    rng = np.random.default_rng(2)
    whole, off = record(rng, 2.0 * STEP_V, 8.0 * STEP_V), record(rng, 0.2 * STEP_V, 1.0 * STEP_V)
    level = amplifiers_noise(whole, off, np.ones_like(whole.spectrum.frequencies_hz))
    highest = math.hypot(2.0 * IN_BAND, 9.0) * STEP_V
    lowest = math.hypot(2.0 * IN_BAND, 7.0) * STEP_V
    assert level.volts - 2.0 * level.volts_u < lowest
    assert level.volts + 2.0 * level.volts_u > highest


@pytest.mark.parametrize("noise", [0.2, 0.3, 0.4])
def test_the_most_that_rounding_may_hide_is_the_noise_that_a_mean_in_the_middle_of_a_step_hides(noise: float) -> None:
    """Against the rounding of a million normal values about the middle of a step."""
    codes = np.round(np.random.default_rng(8).normal(0.0, noise, 1_000_000))
    assert most_noise(float(np.std(codes))) == pytest.approx(noise, rel=0.02)
