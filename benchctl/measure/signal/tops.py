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
from typing import NamedTuple

import numpy as np

from benchctl.measure.rounding.ripple import SHAPING_HARMONICS
from benchctl.measure.rounding.tops import cycle_of
from benchctl.measure.signal.distortion import ABOVE_NOISE, Shape, ToneSpectrum, median_density
from benchctl.measure.signal.peaks import ABOVE_THE_MEAN, NEAR, Blur, Peak, lowest_and_highest
from benchctl.measure.signal.record import Samples

_NORMAL = NormalDist()
_POINTS = 1 << 12  # of a cycle
_FINE = 20  # places in a standard deviation of the noise
_HIGHEST = 6 * _FINE  # a rise of six standard deviations takes a hundred million samples
_NEAR_PLACES = int(NEAR) * _FINE
_DEEPEST = 12 * _FINE  # points so far below a top do not count among those near it
# The rise is known so well: by how much the noise is known, and by what is left of it in the mean cycle (tried with
# sines and clipped sines, of 40 cycles and more).
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
    top = float(values.max())
    near = int(np.count_nonzero(values >= top - NEAR * blur.noise))
    highs = _highs((float(cycle.max()) - cycle) / blur.noise, near)
    own_v = highs.follows * math.hypot(blur.noise * highs.scatter, blur.rounding)
    doubt_v = blur.noise * math.hypot(_DOUBT * highs.rise, math.sqrt(SHAPING_HARMONICS / values.size))
    return Peak(top - blur.noise * highs.rise, math.hypot(own_v, doubt_v), own_v)


class _Highs(NamedTuple):
    """By how much the highest of some samples is expected to lie above the top, and how much it scatters from record to
    record, in standard deviations of the noise.

    `follows`: an error of the highest is so many times as large in what it is freed to, since fewer samples are near a
    highest that is too high, and so less is taken off.
    """

    rise: float
    scatter: float
    follows: float


def _highs(depths: Samples, near: int) -> _Highs:
    """Of points that lie d below the top, a part F(m), the mean of the normal tail at m + d, is above m. If that is the
    mean of the highest, exp(-0.577) of all samples are expected above it (Gumbel), and F(m - 4) / F(m) times as many
    near it. None of n is above m with a probability of exp(-n F(m))."""
    places = np.rint(depths[depths < _DEEPEST / _FINE] * _FINE).astype(np.int64)
    weights = np.bincount(places, minlength=_DEEPEST + 1)
    above = np.convolve(_tail(), weights[::-1], mode="valid")
    falls = -np.gradient(np.log(above))
    nears = np.log(ABOVE_THE_MEAN * above[:-_NEAR_PLACES] / above[_NEAR_PLACES:])
    found = round(float(np.interp(math.log(max(near, 1)), nears, np.arange(_HIGHEST + 1.0))))
    samples, fall = ABOVE_THE_MEAN / above[found + _NEAR_PLACES], falls[found + _NEAR_PLACES]
    scatter = _standard_deviation(np.exp(-samples * above))
    return _Highs(found / _FINE, scatter / _FINE, float(fall / (fall - falls[found])))


def _standard_deviation(below: Samples) -> float:
    """Of what lies below each place with such a probability, in places."""
    chances, places = np.diff(below), np.arange(below.size - 1)
    middle = np.average(places, weights=chances)
    return math.sqrt(float(np.average((places - middle) ** 2, weights=chances)))


@cache
def _tail() -> Samples:
    """How much of a normal error lies above each place, from `NEAR` below nought on."""
    first, last = -_NEAR_PLACES, _HIGHEST + _DEEPEST
    return np.array([_NORMAL.cdf(-place / _FINE) for place in range(first, last + 1)])
