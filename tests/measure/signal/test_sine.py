"""A sine is found whatever its phase, offset and number of cycles, from a start 2 % off; anything else is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.errors import (
    RecordTooShort,
    SampledTooSlowly,
    SilentRecord,
    UnreadableRecord,
    WrongFrequency,
)
from benchctl.measure.signal.sine import fit_and_residual, fit_sine, fit_with_noise
from tests.measure.tones import fit_sine_4

RATE = 48_000.0


def sine(
    count: int, frequency_hz: float, *, amplitude: float = 1.0, phase: float = 0.0, offset: float = 0.0
) -> np.ndarray:
    return amplitude * np.cos(2 * np.pi * frequency_hz * np.arange(count) / RATE + phase) + offset


@given(
    cycles=st.floats(2.0, 400.0),
    samples_a_cycle=st.floats(4.1, 60.0),
    phase=st.floats(-3.1, 3.1),
    offset=st.floats(-5.0, 5.0),
    start=st.floats(0.98, 1.02),
)
@settings(derandomize=True, max_examples=150, deadline=None)
def test_any_sine_is_found_from_a_start_two_per_cent_off(
    cycles: float, samples_a_cycle: float, phase: float, offset: float, start: float
) -> None:
    frequency_hz = RATE / samples_a_cycle
    record = sine(math.ceil(cycles * samples_a_cycle), frequency_hz, amplitude=2.0, phase=phase, offset=offset)
    fit = fit_sine_4(record, 1 / RATE, frequency_hz * start)
    assert fit.frequency_hz == pytest.approx(frequency_hz, rel=1e-8)
    assert fit.amplitude == pytest.approx(2.0, rel=1e-7)
    assert fit.offset == pytest.approx(offset, abs=1e-6)
    assert math.remainder(fit.phase_rad - phase, 2 * math.pi) == pytest.approx(0.0, abs=1e-6)
    assert fit.residual_rms < 1e-6


def test_a_clipped_sine_in_noise_is_found_as_well() -> None:
    record = np.clip(sine(48_000, 997.0), -0.7, 0.7) + np.random.default_rng(1).normal(0, 0.05, 48_000)
    assert fit_sine_4(record, 1 / RATE, 1015.0).frequency_hz == pytest.approx(997.0, abs=0.01)


def test_the_residual_is_all_that_the_fit_leaves() -> None:
    record = sine(4800, 1000.0) + sine(4800, 3000.0, amplitude=0.01)
    fit, residual = fit_and_residual(record, 1 / RATE, 1000.0)
    np.testing.assert_allclose(residual, sine(4800, 3000.0, amplitude=0.01), atol=1e-12)
    assert fit.residual_rms == pytest.approx(0.01 / math.sqrt(2))


def test_a_record_shorter_than_a_cycle_still_fits_at_a_known_frequency() -> None:
    fit = fit_sine(sine(12, 1000.0, amplitude=3.0, phase=0.4), 1 / RATE, 1000.0)
    assert (fit.amplitude, fit.phase_rad) == (pytest.approx(3.0), pytest.approx(0.4))


@pytest.mark.parametrize("other_hz", [300.0, 900.0, 1100.0, 5000.0])
def test_another_tone_is_refused(other_hz: float) -> None:
    with pytest.raises(WrongFrequency):
        fit_sine_4(sine(9600, other_hz), 1 / RATE, 1000.0)


def test_noise_alone_is_refused() -> None:
    with pytest.raises(WrongFrequency):
        fit_sine_4(np.random.default_rng(4).normal(size=9600), 1 / RATE, 1000.0)


def test_silence_is_refused() -> None:
    with pytest.raises(SilentRecord):
        fit_sine_4(np.full(9600, 0.3), 1 / RATE, 1000.0)


def test_too_few_samples_are_refused() -> None:
    with pytest.raises(RecordTooShort):
        fit_sine(np.zeros(3), 1 / RATE, 1000.0)


@pytest.mark.parametrize("frequency_hz", [0.0, -1000.0, 24_000.0, 30_000.0, math.nan])
def test_a_frequency_the_samples_cannot_show_is_refused(frequency_hz: float) -> None:
    with pytest.raises(SampledTooSlowly):
        fit_sine(sine(100, 1000.0), 1 / RATE, frequency_hz)


@pytest.mark.parametrize("fit", [fit_sine, fit_sine_4])
def test_a_record_with_a_nan_is_refused(fit: object) -> None:
    record = sine(100, 1000.0)
    record[50] = math.nan
    with pytest.raises(UnreadableRecord):
        fit(record, 1 / RATE, 1000.0)  # type: ignore[operator]


def test_the_noise_of_an_amplitude_is_that_beside_the_tone_where_noise_ends_far_below_the_sample_rate() -> None:
    """White noise of rms s gives an amplitude fitted to N samples the variance 2 s² / N.

    That is the bound of Rife and Boorstyn (1974), from memory. A mean over eight samples keeps the density at low
    frequencies, and takes seven eighths of the rms squared away.
    """
    chance = np.random.default_rng(12)
    count, interval_s, frequency_hz = 8192, 2e-6, 1e3
    times = np.arange(count) * interval_s
    told, found = [], []
    for _ in range(60):
        white = chance.normal(0.0, 0.1, count + 7)
        narrow = np.convolve(white, np.full(8, 0.125), mode="valid")
        fit, noise = fit_with_noise(np.cos(2.0 * np.pi * frequency_hz * times) + narrow, interval_s, frequency_hz)
        told.append(noise)
        found.append(fit.amplitude)
    assert np.std(found) == pytest.approx(0.1 * np.sqrt(2.0 / count), rel=0.25)  # by the density, that of `white`
    assert np.sqrt(np.mean(np.square(told))) == pytest.approx(0.1 * np.sqrt(2.0 / count), rel=0.15)
