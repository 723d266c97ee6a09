"""What of a noise is the amplifier's: the whole, less what the oscilloscope makes by itself on the same range.

Independent noises add in squares, so the oscilloscope's is subtracted in squares. A line, such as hum, is not
independent of the same line in the other record: it adds by its phase, which nobody knows. So lines are not
subtracted; one of L volts beside one of W volts leaves a doubt of 2 W L cos(phase) in the square.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from benchctl.measure.noise.spectrum import NoiseSpectrum, noise_spectrum
from benchctl.measure.signal.record import Samples, Trace

# ISO 3746, 8.3.3 (from memory): a background that is less than 3 dB below the whole cannot be corrected for.
_LARGEST_PART = 0.5
_CLEAR = 4.0  # standard uncertainties by which a square must be more than nothing, that its root has an even interval
# Noise and rounding together, in steps, beyond which rounding is random: less of them tells nothing, as noise of any
# size may lie at the edge of a step and show half of one.
_RANDOM_STEPS = 0.6
_HALVINGS = 30
_COARSE = "the noise is less than a step of the oscilloscope's converter"
# By how much the oscilloscope's own noise differs from one minute to the next, in power: a tenth of a decibel (common
# practice for an instrument that has warmed up).
_DRIFT = 0.025
_COVERAGE = 2.0


def same_range(one: Trace, other: Trace) -> bool:
    """Whether codes of both stand for the same voltage."""
    return math.isclose(one.scale, other.scale, rel_tol=1e-6)


@dataclass(frozen=True)
class NoiseRecord:
    """One signal of a record: its spectrum, and what rounding to the converter's steps does to it. `bits`: of that
    converter, by which a record of one code alone knows its step."""

    trace: Trace
    interval_s: float
    bits: int

    @cached_property
    def spectrum(self) -> NoiseSpectrum:
        return noise_spectrum(self.trace.values(), self.interval_s)

    @cached_property
    def steps_moved(self) -> float:
        """Noise of a sample, with that of rounding, in steps of the converter: by third differences, in which hum does
        not show, and which are sqrt(1 + 9 + 9 + 1) times as large. One sample in a step of its own may be missed.

        Noise that ends far below half the sample rate hardly shows in differences, so what the band alone has of it
        counts too, without its lines."""
        differences = np.diff(self.trace.codes.astype(np.float64), 3) * abs(self.trace.scale) / self.step
        quick = max(float(np.mean(differences**2)) / 20.0, 1.0 / differences.size)
        return math.sqrt(max(quick, float(np.sum(self.spectrum.floor)) / self.step**2))

    @property
    def is_fine(self) -> bool:
        """Whether noise makes the rounding random."""
        return self.steps_moved > _RANDOM_STEPS

    @cached_property
    def step(self) -> float:
        """The converter's step in V."""
        is_still = self.trace.codes.min() == self.trace.codes.max()
        return self.trace.full_scale / (2.0**self.bits - 1.0) if is_still else self.trace.step

    @property
    def rounding(self) -> float:
        """Mean square of all the rounding: step^2 / 12 (Bennett)."""
        return self.step**2 / 12.0

    def part_in_band(self, weights: Samples) -> float:
        """What part of noise that is even up to half the sample rate falls into the band."""
        return float(np.sum(weights)) * self.spectrum.line_hz * 2.0 * self.interval_s

    def is_like(self, other: NoiseRecord) -> bool:
        """Whether both were taken on the same range and at the same rate."""
        return same_range(self.trace, other.trace) and math.isclose(self.interval_s, other.interval_s, rel_tol=1e-3)


@dataclass(frozen=True)
class Level:
    """A noise in V RMS: a value with its standard uncertainty, or only an upper bound, of which there is none."""

    volts: float
    volts_u: float
    is_bound: bool = False
    reason: str = ""


@dataclass(frozen=True)
class _Own:
    """The oscilloscope's own noise in a band, V^2: what is subtracted, and the standard uncertainty of that."""

    square: float
    square_u: float
    reason: str = ""


def amplifiers_noise(whole: NoiseRecord, off: NoiseRecord | None, weights: Samples, unknown: str = "") -> Level:
    """The amplifier's own noise in a band.

    `off`: the same range at the same rate while the amplifier is off; without it, or where too little is left, the
    result is a bound. `unknown`: why there is no such record.
    """
    square = whole.spectrum.square(weights)
    if not whole.is_fine:
        # Rounding is half a step off at most, whatever is in the record and wherever its error falls.
        hidden_v = whole.step / 2.0 * math.sqrt(float(np.max(weights)))
        return Level(math.sqrt(square) + hidden_v, 0.0, is_bound=True, reason=_COARSE)
    own = _own_of(whole, off, weights) if off is not None else _rounding_alone(whole, weights, unknown)
    left = square - own.square
    left_u = math.hypot(whole.spectrum.square_u(weights), own.square_u)
    if reason := own.reason or _why_bound(square, left, left_u):
        return Level(math.sqrt(max(left, 0.0) + _COVERAGE * left_u), 0.0, is_bound=True, reason=reason)
    return Level(math.sqrt(left), left_u / (2.0 * math.sqrt(left)))


def _why_bound(square: float, left: float, left_u: float) -> str:
    if left < (1.0 - _LARGEST_PART) * square or left < _CLEAR * left_u:
        return "too much of it is there on this range while the amplifier is off"
    return ""


def _rounding_alone(whole: NoiseRecord, weights: Samples, unknown: str) -> _Own:
    """Nothing is known of the oscilloscope but that it rounds."""
    random = whole.part_in_band(weights) * whole.rounding
    return _Own(random, 0.0, unknown or "the oscilloscope's own noise was not measured")


def _own_of(whole: NoiseRecord, off: NoiseRecord, weights: Samples) -> _Own:
    """From the record while the amplifier is off, lines left out."""
    square, chance_u = _floor_of(off, weights)
    parts_u = (chance_u, _DRIFT * square, _lines_u(whole.spectrum, off.spectrum, weights))
    return _Own(square, math.hypot(*parts_u))


def _floor_of(off: NoiseRecord, weights: Samples) -> tuple[float, float]:
    """Mean square of the oscilloscope's noise in a band without its lines, and its standard uncertainty.

    Noise that does not make rounding random shows as much or as little as the place of its mean between two steps
    lets through. Beside a livelier signal it is between nothing and what shows no more than this in the middle of a
    step, and rounding adds all of its own.
    """
    spectrum = off.spectrum
    if off.is_fine:
        lines = weights * (spectrum.mean - spectrum.tones)
        return float(np.sum(lines)), spectrum.chance_of(weights * spectrum.floor)
    in_band = off.part_in_band(weights)
    half = in_band * (off.step * most_noise(off.steps_moved)) ** 2 / 2.0
    return in_band * off.rounding + half, half / math.sqrt(3.0)


def most_noise(seen: float) -> float:
    """The most normal noise, in steps, of which rounding shows no more than `seen`: in the middle of a step a sample is
    rounded to k steps and more where noise is beyond k - 1/2 of them."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if _seen_in_the_middle(middle) < seen**2 else (low, middle)
    return high


def _seen_in_the_middle(noise: float) -> float:
    beyond = (math.erfc((step - 0.5) / (noise * math.sqrt(2.0))) for step in range(1, 6))
    return sum((2 * step - 1) * part for step, part in enumerate(beyond, start=1))


def _lines_u(whole: NoiseSpectrum, off: NoiseSpectrum, weights: Samples) -> float:
    """The doubt that lines of both records leave: 2 W L cos(phase), of which the RMS is sqrt(2) W L. A line that is
    weaker while the amplifier is on was not there in full."""
    own = np.interp(whole.frequencies_hz, off.frequencies_hz, off.tones)
    shared = np.sqrt(whole.tones * np.minimum(own, whole.tones))
    return math.sqrt(2.0) * float(np.sum(weights * shared))
