"""What the spectrum of a silent output promises."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.errors import RecordTooShort, SampledTooSlowly, UnreadableRecord
from benchctl.measure.noise.spectrum import NoiseSpectrum, noise_spectrum

RATE_HZ = 100e3
TIMES_S = np.arange(100_000) / RATE_HZ


def _tone(frequency_hz: float, rms_v: float) -> np.ndarray:
    return rms_v * math.sqrt(2.0) * np.sin(2.0 * np.pi * frequency_hz * TIMES_S)


def _rms(spectrum: NoiseSpectrum) -> float:
    return math.sqrt(spectrum.square())


def test_a_tone_at_one_kilohertz_reads_its_rms_with_and_without_weighting() -> None:
    spectrum = noise_spectrum(_tone(1000.0, 1e-3), 1.0 / RATE_HZ)
    assert _rms(spectrum) == pytest.approx(1e-3, rel=1e-4)
    assert math.sqrt(spectrum.square(spectrum.weights)) == pytest.approx(1e-3, rel=1e-3)


def test_hum_of_the_supply_counts_little_when_weighted() -> None:
    """100 Hz is 19.1 dB down on the A curve (IEC 61672-1)."""
    spectrum = noise_spectrum(_tone(100.0, 1e-3), 1.0 / RATE_HZ)
    weighted_db = 10.0 * math.log10(spectrum.square(spectrum.weights) / spectrum.square())
    assert weighted_db == pytest.approx(-19.1, abs=0.1)


def test_dc_and_what_lies_beyond_the_band_do_not_count() -> None:
    record = 5.0 + _tone(1000.0, 1e-3) + _tone(30e3, 1e-3)
    assert _rms(noise_spectrum(record, 1.0 / RATE_HZ)) == pytest.approx(1e-3, rel=1e-3)


def test_the_uncertainty_of_even_noise_is_that_of_its_degrees_of_freedom() -> None:
    """The standard deviation of a mean square over a band B and a time T is 1 / sqrt(B T) of it (Rice, from memory); a
    Hann window, whose mean fourth power is 35/128, leaves (3/8)^2 / (35/128) of the time."""
    record = np.random.default_rng(3).standard_normal(200_000)
    spectrum = noise_spectrum(record, 1.0 / RATE_HZ)
    by_theory = 1.0 / math.sqrt(19.98e3 * 2.0 * (3 / 8) ** 2 / (35 / 128))
    assert spectrum.square_u() / spectrum.square() == pytest.approx(by_theory, rel=0.05)


def test_noise_that_comes_and_goes_counts_by_its_scatter() -> None:
    chance = np.random.default_rng(4)
    record = chance.standard_normal(200_000) * np.repeat([1.0, 3.0, 1.0, 1.0, 1.0, 3.0, 1.0, 1.0], 25_000)
    spectrum = noise_spectrum(record, 1.0 / RATE_HZ)
    # Six parts of 1 and two of 9: s^2 = 8/7 * 12, over 8 parts; their mean is 3.
    assert spectrum.square_u() / spectrum.square() == pytest.approx(math.sqrt(12.0 / 7.0) / 3.0, rel=0.05)


def test_the_floor_is_the_density_of_the_noise_whatever_hum_stands_on_it() -> None:
    """White noise of 1 V RMS up to 50 kHz has 1 / 12500 V^2 in each 4 Hz."""
    times_s = np.arange(200_000) / RATE_HZ
    hum = sum(np.sin(2.0 * np.pi * 50.0 * order * times_s) for order in range(1, 9))
    spectrum = noise_spectrum(np.random.default_rng(5).standard_normal(200_000) + hum, 1.0 / RATE_HZ)
    assert float(spectrum.floor.mean()) == pytest.approx(4.0 / 50e3, rel=0.03)


def test_a_record_too_short_for_the_lowest_frequency_is_a_named_error() -> None:
    with pytest.raises(RecordTooShort):
        noise_spectrum(np.zeros(5000), 1.0 / RATE_HZ)


def test_a_record_sampled_too_slowly_for_the_band_is_a_named_error() -> None:
    with pytest.raises(SampledTooSlowly):
        noise_spectrum(np.zeros(40_000), 1.0 / 40e3)


def test_a_record_that_holds_no_numbers_is_a_named_error() -> None:
    with pytest.raises(UnreadableRecord):
        noise_spectrum(np.full(100_000, np.nan), 1.0 / RATE_HZ)


def test_perfect_silence_is_zero_not_an_error() -> None:
    assert noise_spectrum(np.zeros(100_000), 1.0 / RATE_HZ).square() == 0.0
