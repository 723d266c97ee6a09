"""Peaks of noisy records. The highest of many samples lies above the signal's own peak, the more so the more samples
come near it: one at the tip of a narrow sine, hundreds on a clipped one. How far follows from how many there are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np

from benchctl.measure.rounding.alike import alike, noise_itself
from benchctl.measure.signal.record import Samples

_NORMAL = NormalDist()
_NEAR = 4.0  # standard deviations below the highest sample within which others count as near it
# Fewer of the samples near the highest can be the highest where a top is round: it rises like a level one of down to so
# many times fewer, and scatters like one of half as many (tried with parabolas that fall by 0.02 to 3 standard
# deviations from one sample to the next).
_FEWER_IF_ROUND, _FEWER_THAT_SCATTER = 3.0, 2.0
# Of many samples near the highest, how round the top is leaves so much of its rise open (tried with sines, clipped
# sines and exponential dips).
_ROUND_DOUBT = 0.15
_ABOVE_THE_MEAN = 0.56  # exp(-0.577): how many are expected above the mean of the highest of many (Gumbel)
# Between independent values of noise of a limited bandwidth there are higher ones: it rises beyond u standard
# deviations 0.72 u times as often as they are there (Rice, Mathematical analysis of random noise, 1944); u is 2 to 3.
_HIGHS = 2.0
_CENTRAL = 0.95
# The mean square of the central 95 % of normal values: 1 - 2 z phi(z) / 0.95 with z = 1.96.
_CENTRAL_SQUARE = 1.0 - 2.0 * _NORMAL.inv_cdf(0.975) * _NORMAL.pdf(_NORMAL.inv_cdf(0.975)) / _CENTRAL


@dataclass(frozen=True)
class Peak:
    """A peak freed of what noise added to it, and the standard uncertainty that noise and rounding leave. `own` is the
    part of that which another peak of the same shape does not have in common with it."""

    value: float
    uncertainty: float
    own: float = 0.0

    @property
    def doubt(self) -> float:
        """The part that tops of one shape have in common, whichever side they are on."""
        return math.sqrt(max(self.uncertainty**2 - self.own**2, 0.0))

    def moved(self, by: float, uncertainty: float) -> Peak:
        """By a correction that has an uncertainty of its own."""
        return Peak(self.value + by, math.hypot(self.uncertainty, uncertainty), math.hypot(self.own, uncertainty))


@dataclass(frozen=True)
class Blur:
    """What hides a peak: normal noise of `noise` rms, and rounding to steps, whose rms is `rounding`. The peak may be
    the `corner` of a steady fall, as of a supply that sinks from its highest voltage at once; else it is round or
    level. So many `neighbours` have their noise in common, as behind a low-pass."""

    noise: float
    rounding: float = 0.0
    corner: bool = False
    neighbours: float = 1.0

    @classmethod
    def of_samples(cls, noise: float, step: float) -> Blur:
        """Of single samples in steps of `step`, whose noise, with that of rounding, is `noise`."""
        return cls(noise_itself(noise, step), step / math.sqrt(12.0))

    @classmethod
    def of_means(cls, noise: float, step: float, samples: int) -> Blur:
        """Of means over so many samples each.

        Rounding that noise makes random, the mean reduces with it; the rest is the same in all samples of a level top.
        """
        if samples == 1:
            return cls.of_samples(noise, step)
        return cls(noise / math.sqrt(samples), math.sqrt(alike(noise, step)))

    @classmethod
    def of_band(cls, noise: float, step: float, part: float, ripple: float) -> Blur:
        """Behind a low-pass that lets pass so much of what is below half the sample rate, and none of a ripple."""
        rounding = math.sqrt(alike(noise, step, ripple))
        return cls(noise * math.sqrt(part), rounding, neighbours=max(1.0 / (_HIGHS * part), 1.0))


def highest_of_rows(rows: Samples, blur: Blur) -> list[Peak]:
    """The signal's highest value in each row of `rows`, shape (rows, n)."""
    tops = rows.max(axis=1)
    reach = _NEAR * blur.noise + math.sqrt(3.0) * blur.rounding  # half a step of rounding
    near = np.count_nonzero(rows >= (tops - reach)[:, np.newaxis], axis=1) / blur.neighbours
    rises, own, doubts = _rise_and_scatter(near)
    if blur.corner:
        rises, own, doubts = _with_corners(near, own, doubts)
    owns = np.hypot(blur.noise * own, blur.rounding)
    columns = (tops - blur.noise * rises, np.hypot(owns, blur.noise * doubts), owns)
    return [Peak(*each) for each in zip(*(column.tolist() for column in columns), strict=True)]


def lowest_of_rows(rows: Samples, blur: Blur) -> list[Peak]:
    """The lowest value of each row."""
    return [Peak(-peak.value, peak.uncertainty, peak.own) for peak in highest_of_rows(-rows, blur)]


def lowest_and_highest(values: Samples, blur: Blur) -> tuple[Peak, Peak]:
    """The lowest and the highest value among `values`, shape (n,)."""
    row = values[np.newaxis, :]
    return lowest_of_rows(row, blur)[0], highest_of_rows(row, blur)[0]


def missed_by_samples(most: float) -> Peak:
    """How far a peak lies above the highest sample, where a ripple whose top may be missed by `most` rides on it.

    A sample falls within half an interval of a top, so it misses it by u^2 of `most`, u evenly spread from 0 to 1: by
    a third on average, with a standard deviation of sqrt(1/5 - 1/9) = 0.3. Of many tops, as on a clipped tone, the one
    that is missed least counts, and little or nothing is missed: taken is the middle between a third and nothing.
    """
    u = math.sqrt(1.0 / 5.0 - 1.0 / 9.0) * most
    return Peak(most / 6.0, u, u)


def half_span(lowest: Peak, highest: Peak) -> Peak:
    """Half of peak to peak, which an error of zero does not move."""
    own, doubt = math.hypot(lowest.own, highest.own) / 2.0, (lowest.doubt + highest.doubt) / 2.0
    return Peak((highest.value - lowest.value) / 2.0, math.hypot(own, doubt), own)


def outermost(lowest: Peak, highest: Peak) -> Peak:
    """The one farther from zero, as a size; an error of zero moves it."""
    return highest if highest.value >= -lowest.value else Peak(-lowest.value, lowest.uncertainty, lowest.own)


def sample_noise(values: Samples) -> float:
    """Noise of a single sample, by third differences, which a signal far below the sample rate hardly shows in.

    Noise of rms s has third differences of sqrt(1 + 9 + 9 + 1) s. The largest twentieth is left out, so that the few
    that stand at the corners of a signal do not count.
    """
    squares = np.sort(np.diff(values, 3) ** 2)[: math.floor(_CENTRAL * (values.size - 3))]
    return math.sqrt(float(squares.mean()) / _CENTRAL_SQUARE / 20.0) if squares.size else 0.0


def noise_beside_tones(values: Samples) -> float:
    """Noise of a single sample by the median of its spectrum, which neither a carrier nor hum moves: noise power is
    exponential, so its mean is the median over ln 2. Under a Hann window a tone leaks into few lines."""
    window = np.hanning(values.size)
    if not (whole := float(window @ window)) > 0.0:
        return 0.0
    lines = np.abs(np.fft.rfft((values - values.mean()) * window)) ** 2
    return math.sqrt(float(np.median(lines)) / math.log(2.0) / whole)


def _rise_and_scatter(near: Samples) -> tuple[Samples, Samples, Samples]:
    """For a top of which `near` samples lie near the highest: by how much that is expected to lie above the signal's
    own peak, how much it scatters, and how well the rise is known, all in standard deviations of the noise; shapes as
    that of `near`. Nobody knows how round the top is: it may rise like a level one, or less."""
    level, rounded = _level_rise(near), _level_rise(near / _FEWER_IF_ROUND)
    own = 1.0 / np.sqrt(1.0 + np.log(np.maximum(near / _FEWER_THAT_SCATTER, 1.0)))
    doubt = np.maximum((level - rounded) / math.sqrt(12.0), _ROUND_DOUBT * level)
    return (level + rounded) / 2.0, own, doubt


def _level_rise(near: Samples) -> Samples:
    """By how much the highest of a level top is expected to lie above it."""
    counts, rises = _level_tops()
    found: Samples = np.interp(np.log(np.maximum(near, 1.0)), counts, rises)
    return found


def _with_corners(near: Samples, own: Samples, doubts: Samples) -> tuple[Samples, Samples, Samples]:
    """The same where the top may as well be a corner: any rise between that of a level top and that of a corner."""
    counts, corners = _corners()
    of_corner = np.interp(np.log(np.maximum(near, 1.0)), counts, corners)
    of_level = _level_rise(near)
    own = np.maximum(np.hypot(own, doubts), 1.0 / np.sqrt(1.0 + of_corner + 0.7 * of_corner**2))  # tried, to a tenth
    return (of_level + of_corner) / 2.0, own, (of_level - of_corner) / math.sqrt(12.0)


@cache
def _corners() -> tuple[Samples, Samples]:
    """For corners that fall by one standard deviation of the noise in 0.1 to 1e7 samples: logarithm of how many are
    expected near the highest, and its rise.

    Of p samples a standard deviation, p (phi(m) - m Q(m)) are expected above m, Q being the normal tail; the mean of
    the highest is where that is exp(-0.577). It is no less than the first sample, which is at the corner, on average.
    """
    rises = np.linspace(4.5, 0.0, 91)
    rates = np.array([_ABOVE_THE_MEAN / _expected_above(rise) for rise in rises])
    near = np.array([rate * _expected_above(rise - _NEAR) for rate, rise in zip(rates, rises, strict=True)])
    return np.log(np.maximum(near, 1.0))[::-1], rises[::-1]


def _expected_above(rise: float) -> float:
    return _NORMAL.pdf(rise) - rise * _NORMAL.cdf(-rise)


@cache
def _level_tops() -> tuple[Samples, Samples]:
    """For level tops of 1 to 1e8 samples: logarithm of how many are expected near the highest, and its rise.

    The expected largest of n normal values is about the (n - 3/8) / (n + 1/4) quantile (Blom's approximation, from
    memory), nothing for a single one; it scatters by about 1 / sqrt(1 + ln n) (tried: to a tenth, up to n = 10^4).
    """
    sizes = np.geomspace(1.0, 1e8, 161)
    rises = np.array([_NORMAL.inv_cdf((size - 0.375) / (size + 0.25)) for size in sizes])
    near = np.array([size * _NORMAL.cdf(_NEAR - rise) for size, rise in zip(sizes, rises, strict=True)])
    return np.log(np.maximum.accumulate(near)), rises
