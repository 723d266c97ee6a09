"""One cycle of a periodic signal that is more than one sine: two tones, a square wave, a table of samples.

A wave is a sum of sines at multiples of the cycle's frequency, value = sum of Im(phasor·exp(2πj·multiple·turns)), with
time counted in turns of the cycle; multiple 0 is dc. Where there are many of them it is also one cycle of evenly spaced
samples that straight lines connect, which is much faster to look up.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
Phasors = NDArray[np.complex128]
Response = Callable[[Samples], Phasors]
"""The transfer function of something linear, at many frequencies in Hz."""

FEW = 8
"""Up to so many sines are summed as they are."""

LOW = 16
"""Up to this multiple, few sines are summed as powers of one turning phasor."""

POINTS = 1 << 16
"""Samples of a cycle. A straight line between two of them misses the 100th harmonic by 1e-5 of it (its curvature)."""

POINTS_PER_SINE = 64
"""Least number of samples for a cycle of the highest sine of a few, where a peak or a mean is looked for."""

EDGE = 1 / 16384
"""How long an edge of a square wave takes, in turns: 61 ns at 1 kHz, as slow as a cheap generator's (common practice:
10 to 100 ns), and slow enough that the samples of a cycle show it."""

WEAK = 1e-5
"""Sines weaker than this part of the strongest one are rounding of a table of 16 bits."""


class Partial(NamedTuple):
    """One sine of a wave: amplitude·sin(2π·multiple·turns + phase)."""

    multiple: int
    amplitude: float
    phase_rad: float = 0.0


@dataclass(frozen=True, eq=False)
class Wave:
    """Two waves are equal only if they are the same object, so that what was worked out for one is found again."""

    multiples: NDArray[np.int64]
    phasors: Phasors
    _samples: Samples | None = field(default=None, repr=False)

    @classmethod
    def of_partials(cls, partials: Sequence[Partial]) -> Wave:
        """The sum of some sines."""
        multiples = np.array([each.multiple for each in partials], dtype=np.int64)
        phasors = np.array([each.amplitude * np.exp(1j * each.phase_rad) for each in partials])
        return cls(multiples, phasors)

    @classmethod
    def of_samples(cls, samples: Samples) -> Wave:
        """A cycle of evenly spaced samples; one of a few sines is known as what it is."""
        phasors = 2j * np.fft.rfft(samples) / len(samples)
        phasors[0] /= 2
        sizes = np.abs(phasors)
        strong = np.flatnonzero(sizes > WEAK * np.max(sizes, initial=0.0))
        if len(strong) <= FEW:
            return cls(strong.astype(np.int64), phasors[strong])
        return cls(np.arange(len(phasors), dtype=np.int64), phasors, samples)

    @cached_property
    def peak(self) -> float:
        """The largest value, either way."""
        return float(np.max(np.abs(self.cycle), initial=0.0))

    @cached_property
    def rms(self) -> float:
        """Over a cycle, by Parseval's theorem."""
        squares = np.abs(self.phasors) ** 2
        return math.sqrt(float(np.sum(np.where(self.multiples == 0, squares, squares / 2))))

    @cached_property
    def cycle(self) -> Samples:
        """A cycle of evenly spaced samples."""
        if self._samples is not None:
            return self._samples
        points = self._points()
        bins = np.zeros(points // 2 + 1, dtype=np.complex128)
        within = self.multiples < len(bins) - 1
        bins[self.multiples[within]] = -0.5j * points * self.phasors[within]
        bins[0] *= 2
        return np.asarray(np.fft.irfft(bins, points), dtype=np.float64)

    def _points(self) -> int:
        if len(self.multiples) > FEW:
            return POINTS
        highest = POINTS_PER_SINE * int(np.max(self.multiples, initial=1))
        return min(max(1 << (highest - 1).bit_length(), 256), 4 * POINTS)

    def at(self, turns: Samples) -> Samples:
        """The value at any times, in turns."""
        if len(self.multiples) > FEW:
            return _between(self.cycle, turns)
        if int(np.max(self.multiples, initial=0)) <= LOW:
            return _polynomial(self._coefficients, turns)
        angles = 2 * np.pi * np.multiply.outer(self.multiples, turns)
        sines = np.abs(self.phasors) @ np.sin(angles + np.angle(self.phasors)[:, None])
        return np.asarray(sines, dtype=np.float64)

    @cached_property
    def _coefficients(self) -> list[complex]:
        """The phasor of every multiple from 0 on, 0 where there is none."""
        coefficients = np.zeros(int(np.max(self.multiples, initial=0)) + 1, dtype=np.complex128)
        coefficients[self.multiples] = self.phasors
        return [complex(each) for each in coefficients]

    def through(self, response: Response, frequency_hz: float) -> Wave:
        """What something linear makes of it, once it has settled; `frequency_hz` is that of the cycle."""
        passed = np.multiply(self.phasors, response(self.multiples.astype(np.float64) * frequency_hz))
        return Wave(self.multiples, passed)

    def turned(self, turns: float) -> Wave:
        """The same, earlier by so many turns."""
        return Wave(self.multiples, self.phasors * np.exp(2j * np.pi * turns * self.multiples))

    def times(self, factor: float) -> Wave:
        """The same, so many times as large."""
        samples = None if self._samples is None else factor * self._samples
        return Wave(self.multiples, factor * self.phasors, samples)


def _polynomial(coefficients: Sequence[complex], turns: Samples) -> Samples:
    """Im(sum of coefficient·z^multiple) with z = exp(2πj·turns), by Horner's rule: one sine and one cosine for all."""
    angles = 2 * np.pi * turns
    turning = np.empty(np.shape(turns), dtype=np.complex128)
    turning.real, turning.imag = np.cos(angles), np.sin(angles)
    *lower, highest = coefficients
    total = np.full_like(turning, highest)
    for coefficient in reversed(lower):
        total *= turning
        total += coefficient
    return np.array(total.imag, dtype=np.float64)


def _between(cycle: Samples, turns: Samples) -> Samples:
    """Values on the straight lines between the samples of a cycle."""
    places = (turns % 1.0) * len(cycle)
    before = np.minimum(places.astype(np.int64), len(cycle) - 1)
    after = np.where(before == len(cycle) - 1, 0, before + 1)
    first = cycle[before]
    return np.asarray(first + (places - before) * (cycle[after] - first), dtype=np.float64)


@lru_cache(maxsize=1)
def square() -> Wave:
    """A square wave of ±1 that goes up at 0 turns and down at half a turn, on edges of finite steepness.

    Its odd harmonics are 4/(πn), times sin(x)/x with x = πn·EDGE for the edges (Fourier series of a trapezoid).
    """
    multiples = np.arange(1, POINTS // 2, 2, dtype=np.int64)
    phasors = (4 / np.pi / multiples * np.sinc(multiples * EDGE)).astype(np.complex128)
    turns = np.arange(POINTS) / POINTS
    triangle = 0.25 - np.abs((turns + 0.25) % 1.0 - 0.5)
    return Wave(multiples, phasors, np.clip(triangle / (EDGE / 2), -1.0, 1.0))


@lru_cache(maxsize=32)
def distorted(wave: Wave | None, second: float, third: float) -> Wave:
    """A wave (a sine where it is None) behind a bend that adds these harmonics to a sine of amplitude 1, all in phase.

    cos 2x = 1 - 2·sin²x and sin 3x = 3·sin x - 4·sin³x (textbook); dc and the change of the tone itself are left out.
    """
    if wave is None:
        return Wave.of_partials((Partial(1, 1.0), Partial(2, second, math.pi / 2), Partial(3, third)))
    cycle = wave.cycle
    bent = -second * 2 * (cycle**2 - np.mean(cycle**2)) + third * (3 * cycle - 4 * cycle**3)
    return Wave.of_samples(cycle + bent)


@lru_cache(maxsize=64)
def two_tones(first: int, second: int, part: float) -> Wave:
    """A sine of amplitude 1 at one multiple of the cycle's frequency, and one of amplitude `part` at another."""
    return Wave.of_partials((Partial(first, 1.0), Partial(second, part)))
