"""Noise whose density is the same at all frequencies up to its bandwidth, as a record of any sample rate shows it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

AUDIO_HZ = 20e3 - 20.0
"""Bandwidth for which the noise of an amplifier is stated: 20 Hz to 20 kHz."""


def density_of(rms_v: float) -> float:
    """Volts per root hertz of a noise that is stated for 20 Hz to 20 kHz."""
    return rms_v / math.sqrt(AUDIO_HZ)


def noise_v(chance: np.random.Generator, count: int, rate_hz: float, density: float, bandwidth_hz: float) -> Samples:
    """`count` samples of it at `rate_hz`.

    What lies above half the sample rate is folded down, as no filter stops it before a converter; so a slow record has
    all of it, evenly, and a fast one has none above the bandwidth. Its power is density²·bandwidth in both.
    """
    if bandwidth_hz >= rate_hz / 2:
        return np.asarray(chance.standard_normal(count) * density * math.sqrt(bandwidth_hz), dtype=np.float64)
    points = fast_length(count)
    lines = int(bandwidth_hz * points / rate_hz)
    # Single precision: ten million times finer than the noise, and twice as fast.
    spectrum = np.zeros(points // 2 + 1, dtype=np.complex64)
    # Each line has the power of its share of the band: density²·rate/points.
    size = 0.5 * density * math.sqrt(rate_hz * points)
    spectrum[1 : lines + 1] = size * chance.standard_normal(2 * lines, dtype=np.float32).view(np.complex64)
    return np.asarray(np.fft.irfft(spectrum, points)[:count], dtype=np.float64)


def fast_length(count: int) -> int:
    """The next length for which the transform is fast, an even one with factors 2, 3 and 5 only; longer than `count`,
    so that the end of a record does not go on where it began."""
    power = 1 << count.bit_length()
    return next(length for length in (power * 5 // 8, power * 3 // 4, power) if length > count)
