"""Noise by density and bandwidth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from benchctl.simulator.hardware.noise import density_of, noise_v

DENSITY = density_of(300e-6)


@pytest.mark.parametrize("rate_hz", [100e3, 250e3, 1e6, 5e6])
def test_the_audio_band_has_the_same_noise_at_any_sample_rate(rate_hz: float) -> None:
    """300 µV from 20 Hz to 20 kHz, by Welch's estimate (scipy) over that band; a slow record folds nothing below its
    half."""
    samples = noise_v(np.random.default_rng(1), 400_000, rate_hz, DENSITY, 50e3)
    frequencies_hz, density = signal.welch(samples, rate_hz, nperseg=16_384)
    inside = (frequencies_hz > 20.0) & (frequencies_hz <= 20e3)
    assert math.sqrt(np.mean(density[inside])) == pytest.approx(DENSITY, rel=0.05)
    beyond = frequencies_hz > 52e3
    assert not beyond.any() or math.sqrt(np.mean(density[beyond])) < 0.01 * DENSITY


@pytest.mark.parametrize("rate_hz", [20e3, 99e3, 101e3, 10e6])
def test_all_of_its_power_is_in_any_record(rate_hz: float) -> None:
    """Density² times bandwidth (definition), folded down where the record is slow."""
    samples = noise_v(np.random.default_rng(2), 300_000, rate_hz, DENSITY, 50e3)
    # A tenth: at 10 MSa/s the record is 30 ms long and has only 1500 independent lines.
    assert samples.std() == pytest.approx(DENSITY * math.sqrt(50e3), rel=0.1 if rate_hz > 1e6 else 0.01)


def test_neighbours_in_a_slow_record_know_nothing_of_each_other() -> None:
    samples = noise_v(np.random.default_rng(3), 200_000, 20e3, DENSITY, 50e3)
    assert abs(np.corrcoef(samples[1:], samples[:-1])[0, 1]) < 0.01
