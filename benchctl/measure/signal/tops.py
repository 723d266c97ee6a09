"""The peak of a steady tone among noise, where all cycles together tell how round its top is.

The highest of many noisy samples lies above the signal's own peak, the more so the more of them come near it. Of one
record nobody knows whether the top is round or level (`peaks`); of many like cycles the mean cycle tells, since it has
next to none of the noise. It does so only where they are alike: under hum, or a voltage that sinks, some cycles are the
highest, and U allows for any shape again.
"""

from __future__ import annotations

import math
from functools import cache
from statistics import NormalDist

import numpy as np

from benchctl.measure.rounding.ripple import SHAPING_HARMONICS
from benchctl.measure.rounding.tops import cycle_of
from benchctl.measure.signal.distortion import ABOVE_NOISE, Shape, ToneSpectrum, median_density
from benchctl.measure.signal.peaks import Blur, Peak, lowest_and_highest
from benchctl.measure.signal.record import Samples

_NORMAL = NormalDist()
_POINTS = 1 << 12  # of a cycle
_FINE = 20  # places in a standard deviation of the noise
_LOWEST, _HIGHEST = -4, 7  # above the top of a cycle, in standard deviations: the highest of samples is surely between
_DEEPEST = 12  # points so far below a top do not matter
# The part of its rise by which the highest may be off, with the noise and with cycles that are not quite alike. What is
# left of noise in the mean cycle counts beside that: its top is too high by about as much (tried with sines and clipped
# sines).
_DOUBT = 0.05
# Steps coarser than this many standard deviations of the noise leave rounding that noise does not make random.
_COARSE = 2.0
# Parts of the noise, both RMS: how far cycles may differ, as under hum or while rails sink, and what a cycle may have
# of harmonics that the mean cycle has not. Either moves the highest value by half of its scatter at most (tried).
_UNLIKE, _BEYOND = 0.07, 0.25


def ends_of_tone(values: Samples, tone: ToneSpectrum, blur: Blur) -> tuple[Peak, Peak]:
    """The lowest and the highest value of the record, shape (n,), of a tone; `blur`: of single samples."""
    if not _tells_shape(tone, blur):
        return lowest_and_highest(values, blur)
    cycle = _cycle(tone.shape(tone.residual))
    lowest, highest = _highest(-values, -cycle, blur), _highest(values, cycle, blur)
    return Peak(-lowest.value, lowest.uncertainty, lowest.own), highest


def _tells_shape(tone: ToneSpectrum, blur: Blur) -> bool:
    """Whether samples are close enough, noise makes rounding random, and cycles are alike."""
    if not blur.noise > 0.0 or blur.rounding * math.sqrt(12.0) > _COARSE * blur.noise:
        return False
    is_close = SHAPING_HARMONICS * tone.fit.frequency_hz < tone.nyquist_hz
    return is_close and _are_alike(tone, blur.noise)


def _are_alike(tone: ToneSpectrum, noise: float) -> bool:
    """Whether little stands out of the noise beside harmonics, and of those beyond the ones that shape a cycle."""
    orders, beside = np.divmod(np.arange(tone.power.size), round(tone.fit.frequency_hz / tone.line_hz))
    strong = np.where(tone.power > ABOVE_NOISE * median_density(tone.power), tone.power, 0.0)
    unlike, beyond = strong[beside > 0].sum(), strong[(beside == 0) & (orders > SHAPING_HARMONICS)].sum()
    return bool(unlike <= (_UNLIKE * noise) ** 2 and beyond <= (_BEYOND * noise) ** 2)


def _cycle(shape: Shape) -> Samples:
    """One cycle, nearly without noise; its mean is nought. Its highest harmonics are taken down little by little
    (Lanczos), so that it does not ring beside a corner."""
    first = cycle_of(np.array([1]), np.array([shape.fundamental]), _POINTS)
    tapered = shape.harmonics * np.sinc(shape.orders / (SHAPING_HARMONICS + 1))
    return first + cycle_of(shape.orders, tapered, _POINTS)


def _highest(values: Samples, cycle: Samples, blur: Blur) -> Peak:
    rise, scatter = _rise_and_scatter((float(cycle.max()) - cycle) / blur.noise, values.size)
    left = math.sqrt(SHAPING_HARMONICS / values.size)
    own_v = math.hypot(blur.noise * scatter, blur.rounding)
    doubt_v = blur.noise * math.hypot(_DOUBT * rise, left)
    return Peak(float(values.max()) - blur.noise * (rise + left), math.hypot(own_v, doubt_v), own_v)


def _rise_and_scatter(depths: Samples, samples: int) -> tuple[float, float]:
    """By how much the highest of so many samples is expected to lie above the top, and how much it scatters from record
    to record, in standard deviations of the noise.

    Of points that lie d below the top, a part F(m), the mean of the normal tail at m + d, is above m. None of n samples
    is above it with a probability of exp(-n F(m)).
    """
    places = np.rint(depths[depths < _DEEPEST] * _FINE).astype(np.int64)
    weights = np.bincount(places, minlength=_DEEPEST * _FINE + 1) / depths.size
    below = np.exp(-samples * np.convolve(_tail(), weights[::-1], mode="valid"))
    chances, middles = np.diff(below), (np.arange(below.size - 1) + 0.5) / _FINE + _LOWEST
    rise = float(np.average(middles, weights=chances))
    return rise, math.sqrt(float(np.average((middles - rise) ** 2, weights=chances)))


@cache
def _tail() -> Samples:
    """How much of a normal error lies above each place, from `_LOWEST` on."""
    places = np.arange(_LOWEST * _FINE, _HIGHEST * _FINE + _DEEPEST * _FINE + 1) / _FINE
    return np.array([_NORMAL.cdf(-place) for place in places.tolist()])
