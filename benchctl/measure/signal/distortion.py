"""Distortion, always together with the floor below which this record cannot see it.

THD+N is what is left of the record when the fitted fundamental is taken away, between 20 Hz and the band edge,
relative to all of the signal in that band (AES17). THD is the root sum square of the harmonics relative to the
fundamental. A ratio less than three times the record's own floor is a bound, not a value.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from benchctl.errors import MeasurementError, RecordTooShort, SampledTooSlowly, SilentRecord
from benchctl.measure.rounding.alike import alike
from benchctl.measure.rounding.ripple import SHAPING_HARMONICS, looked_at, ripple_on
from benchctl.measure.rounding.tops import Shares, shares_of_tops
from benchctl.measure.signal.phasors import sums_at
from benchctl.measure.signal.record import Samples
from benchctl.measure.signal.sine import SineFit, find_frequency, fit_and_residual, fit_phase
from benchctl.measure.uncertainty import measured

BAND_HZ = 20e3  # AES17: the upper band edge
_LOW_EDGE_HZ = 20.0  # AES17: the lower one
_FLOOR_MARGIN = 3.0  # a result nearer to the floor than this factor is only a bound
_FLOOR_POWER_U = 0.1  # standard uncertainty of the mean square of a floor, relative: what an estimate of it is good for
_HIGHEST_HARMONIC = 10
_SHAPING_SAMPLES = 1 << 13  # of which the noise moves no point of that cycle by a step
_ROUNDING_MATTERS = 1e-5  # part of what is beside the fundamental: a three-hundredth of the distortion
_EDGE_TOLERANCE = 1e-3  # the 20th harmonic of a generator 50 ppm high is still meant to be within 20 kHz
_FEWEST_LINES = 32  # for a median that a few tones among the noise do not move
_LENGTHS_TRIED = 20  # one of them nearly always has factors small enough
_LONG_CYCLE = 1000.0  # samples: two of them are little of it
_LITTLE_WORK = 100  # for each sample: a million samples then take some hundredths of a second, and not a tenth or more
ABOVE_NOISE = 20.0
"""times the mean power of its lines: of a hundred million, noise makes less than one so strong"""
_EMPTY_MARGIN = 1.2  # above the band edge by this factor a record holds only the oscilloscope's noise


@dataclass(frozen=True)
class Distortion:
    """A distortion ratio (0.01 is 1 %) and the ratio the record's own noise and steps alone would give.

    `lines`: over how many spectral lines that floor is spread, each with an amplitude and a phase of its own.
    """

    ratio: float
    floor: float
    lines: float = 1.0

    @property
    def is_bound(self) -> bool:
        """The true distortion is `at_most` some ratio; how much less cannot be told from this record."""
        return self.ratio < _FLOOR_MARGIN * self.floor

    @property
    def at_most(self) -> float:
        """The most the distortion can be: the floor may have hidden as much of it as it could have added."""
        return math.hypot(self.ratio, self.floor)

    @property
    def scatter(self) -> float:
        """By what part the ratio may be off by chance, as a standard uncertainty."""
        return float(self.uncertain().std_dev) / self.ratio if self.ratio > self.floor else 1.0

    def uncertain(self) -> UFloat:
        """The ratio freed of the floor, with what the floor leaves open. Gain cancels; the oscilloscope's own
        distortion is unknown.

        Noise across the distortion adds to it in quadrature, by floor^2, which is taken off as far as it is known: it
        is an estimate, and the noise of this record differs from it by chance, the more the fewer lines there are.
        Noise in line with the distortion, one of 2 `lines` directions, shifts the ratio either way.

        Raises:
            MeasurementError: the ratio does not stand out of the floor.
        """
        if not self.ratio > self.floor:
            raise MeasurementError("a distortion that does not stand out of the floor has no uncertainty")
        freed = math.sqrt(self.ratio**2 - self.floor**2)
        in_line = measured(
            0.0, self.floor / math.sqrt(2.0 * self.lines), "floor of the record, in line with a harmonic"
        )
        across = self.floor**2 / (2.0 * freed) * math.sqrt(1.0 / self.lines + _FLOOR_POWER_U**2)
        return freed + in_line + measured(0.0, across, "floor of the record, across it")


class Heard(NamedTuple):
    """What one drive showed at an output: its distortion, and the RMS of its fundamental in V."""

    distortion: Distortion
    fundamental_v: float


class Shape(NamedTuple):
    """What a cycle is made of: complex amplitudes of its fundamental and of its harmonics, whose angles are those of
    cosines."""

    fundamental: complex
    orders: NDArray[np.int64]
    harmonics: NDArray[np.complex128]


@dataclass(frozen=True)
class ToneSpectrum:
    """A steady tone taken apart: the fit, and the spectrum of all the rest over whole cycles.

    `power` has a mean square value for each line, shape (lines,), line n at n * line_hz. `step` is that of the
    converter; 0 where it is too fine to matter.
    """

    fit: SineFit
    residual: Samples
    power: Samples
    line_hz: float
    interval_s: float
    step: float = 0.0

    @property
    def nyquist_hz(self) -> float:
        return 0.5 / self.interval_s

    @cached_property
    def ripple_on_tops(self) -> float:
        """The amplitude of what a carrier leaves on the tops; 0 where it is too little to matter beside a step."""
        cycles = self.fit.frequency_hz / self.line_hz
        count = min(looked_at(self.residual.size, cycles), self.residual.size)
        seconds = np.arange(count) * self.interval_s
        turns = 2.0 * math.pi * self.fit.frequency_hz * seconds - self.fit.phase_rad
        return ripple_on(self.residual[:count], np.cos(turns), cycles * count / self.residual.size, self.step)

    @cached_property
    def shares_of_tops(self) -> Shares | None:
        """What tops of this shape keep of the converter's rounding, told by the beginning of the record."""
        samples_a_cycle = 1.0 / (self.fit.frequency_hz * self.interval_s)
        cycles = max(round(_SHAPING_SAMPLES / samples_a_cycle), 2)
        shape = self.shape(self.residual[: round(cycles * samples_a_cycle)])
        return shares_of_tops(shape.fundamental, shape.orders, shape.harmonics, self.step)

    def shape(self, residual: Samples) -> Shape:
        """Of a cycle, told by whole cycles from the first on."""
        orders = np.arange(2, min(SHAPING_HARMONICS, math.ceil(self.nyquist_hz / self.fit.frequency_hz) - 1) + 1)
        middle = self.fit.phase_rad + math.pi * self.fit.frequency_hz * self.interval_s * (residual.size - 1)
        return Shape(cmath.rect(self.fit.amplitude, middle), orders, np.conj(self.harmonics(orders, residual)))

    def harmonics(self, orders: NDArray[np.int64], residual: Samples) -> NDArray[np.complex128]:
        """Complex amplitudes of harmonics in whole cycles of the residual, shape of `orders`."""
        radians_per_sample = 2.0 * math.pi * self.fit.frequency_hz * self.interval_s
        turns = np.multiply(radians_per_sample, orders, dtype=np.float64)
        return np.asarray(2.0 / residual.size * sums_at(residual, turns))

    @property
    def rms(self) -> float:
        """True rms over the whole cycles, dc and all; exact for any number of samples, as the parts are orthogonal."""
        return math.sqrt(self.fit.rms**2 + self.fit.offset**2 + self.fit.residual_rms**2)


def tone_spectrum(values: Samples, interval_s: float, frequency_hz: float, step: float = 0.0) -> ToneSpectrum:
    """Fit the tone, cut the record to whole cycles, and take the spectrum of what the fit leaves; `step` is that of the
    converter.

    Raises:
        RecordTooShort: fewer than two whole cycles.
        MeasurementError: as `find_frequency`.
    """
    found_hz = _without_pull(values, interval_s, find_frequency(values, interval_s, frequency_hz))
    cycles = math.floor(values.size * interval_s * found_hz + 1e-6)
    if cycles < 2:
        raise RecordTooShort(f"the record holds {cycles} whole cycle of {found_hz:.6g} Hz; two are needed")
    count = _quick_length(cycles, 1.0 / (found_hz * interval_s), values.size)
    fit, residual = fit_and_residual(values[:count], interval_s, found_hz)
    lines = np.fft.rfft(residual)
    power = 2.0 / count**2 * (lines.real**2 + lines.imag**2)
    return ToneSpectrum(fit, residual, power, 1.0 / (count * interval_s), interval_s, step)


def _quick_length(cycles: int, samples_a_cycle: float, most: int) -> int:
    """Samples of so many whole cycles, or of up to a fiftieth fewer if their spectrum is computed much faster.

    An FFT takes work in proportion to the sum of the prime factors of its length (Cooley and Tukey 1965). Cycles of a
    real generator are hardly ever whole numbers of samples, so their number is any, often with one large factor. Of few
    long cycles none can be spared; there a length may be two samples off, which moves the tenth harmonic by a fiftieth
    of a line.
    """
    fewest = cycles - min(cycles // 50, _LENGTHS_TRIED)
    lengths = [round(each * samples_a_cycle) for each in range(cycles, fewest - 1, -1)]
    if fewest == cycles and samples_a_cycle >= _LONG_CYCLE:
        return min([length for off in (0, 1, -1, 2, -2) if (length := lengths[0] + off) <= most], key=_work)
    lengths = [min(each, most) for each in lengths]
    return next((each for each in lengths if _work(each) <= _LITTLE_WORK), min(lengths, key=_work))


@lru_cache(maxsize=256)  # records of one tone at one sample rate follow each other
def _work(length: int) -> int:
    """The sum of its prime factors."""
    work, factor = 0, 2
    while factor * factor <= length:
        while length % factor == 0:
            work, length = work + factor, length // factor
        factor += 1
    return work + length if length > 1 else work


def _without_pull(values: Samples, interval_s: float, frequency_hz: float) -> float:
    """The frequency from the phase between two halves of the record, each of whole cycles.

    Strong harmonics pull the four-parameter fit of a short record; they turn the phase of both halves alike.
    """
    half = round(math.floor(values.size * interval_s * frequency_hz / 2.0 + 1e-6) / (frequency_hz * interval_s))
    if half < 4 or 2 * half > values.size:
        return frequency_hz
    first, second = (fit_phase(part, interval_s, frequency_hz) for part in (values[:half], values[half : 2 * half]))
    advance = 2.0 * math.pi * frequency_hz * half * interval_s
    ahead = math.remainder(second - first - advance, 2.0 * math.pi)
    return frequency_hz * (1.0 + ahead / advance)


def noise_and_distortion(tone: ToneSpectrum, band_hz: float = BAND_HZ) -> Distortion:
    """THD+N from a spectrum that is already at hand."""
    _require_band(band_hz, tone.interval_s)
    in_band = slice(*_lines(tone, _LOW_EDGE_HZ, band_hz))
    residual = float(tone.power[in_band].sum())
    total = tone.fit.rms**2 + residual
    if total <= 0.0:
        raise SilentRecord("the record holds no signal to relate distortion to")
    floor = _Floor.of(tone, _instrument_density(tone, band_hz))
    orders = math.floor(band_hz / tone.fit.frequency_hz * (1.0 + _EDGE_TOLERANCE))
    return floor.beside(residual, total, in_band.stop - in_band.start, max(orders - 1, 1))


def harmonic_distortion(tone: ToneSpectrum, band_hz: float = BAND_HZ, highest: int = _HIGHEST_HARMONIC) -> Distortion:
    """THD from a spectrum that is already at hand."""
    top = min(highest, highest_harmonic(tone.fit.frequency_hz, band_hz, tone.interval_s))
    if tone.fit.rms <= 0.0:
        raise SilentRecord("the record holds no fundamental to relate harmonics to")
    squares = float(np.sum(np.abs(tone.harmonics(np.arange(2, top + 1), tone.residual)) ** 2)) / 2.0
    # Between the harmonics there is only noise, and each harmonic stands on one line of it.
    floor = _Floor.of(tone, median_density(tone.power[slice(*_lines(tone, _LOW_EDGE_HZ, band_hz))]))
    return floor.beside(squares, tone.fit.rms**2, top - 1, top - 1)


@dataclass(frozen=True)
class _Floor:
    """The record's own noise: mean square for a line of the spectrum, and on top of it, of rounding, for a harmonic. Of
    the latter so much is in line with the distortion as is known from the tone's shape, or as it is spread evenly."""

    line: float
    harmonic: float
    in_line: float
    even: float

    @classmethod
    def of(cls, tone: ToneSpectrum, density: float) -> _Floor:
        """From the noise density between harmonics and the converter's step.

        Rounding that neither noise nor a carrier makes random comes alike in each cycle, so all of it falls on
        harmonics.
        """
        step, ripple = tone.step, tone.ripple_on_tops
        seen = math.sqrt(density * tone.power.size)
        rounding = alike(seen if ripple else _least_noise(seen, step), step, ripple)
        even = tone.fit.frequency_hz / tone.nyquist_hz  # the part on a harmonic, if it were spread evenly
        shares = Shares(even, 0.0)
        if rounding > _ROUNDING_MATTERS * float(tone.power.sum()):
            shares = tone.shares_of_tops or shares
            shares = replace(shares, harmonic=max(shares.harmonic, even))
        return cls(density, rounding * shares.harmonic, rounding * shares.in_line, rounding * even)

    def beside(self, squares: float, total: float, lines: int, harmonics: int) -> Distortion:
        """The distortion of mean square `squares` that stands on so many lines, harmonics among them."""
        noise, rounding = lines * self.line, harmonics * self.harmonic
        floor = noise + rounding
        # Of noise half of a line's is in line and half across; rounding may favour the harmonics of the distortion.
        in_line = noise / lines + max(2.0 * self.in_line, harmonics * self.even)
        spread = floor / in_line if in_line > 0.0 else float(lines)
        return Distortion(math.sqrt(squares / total), math.sqrt(floor / total), spread)


def _least_noise(seen: float, step: float) -> float:
    """Of noise that is seen with its rounding, what there is at least.

    Flat tops just at the edge of a step show half a step of noise, however little there is. The less is seen, the more
    of it may come from there (the power is tried).
    """
    edge = 0.5 * step
    return seen if seen >= edge else seen * (seen / edge) ** 0.7


def highest_harmonic(frequency_hz: float, band_hz: float, interval_s: float) -> int:
    """The highest harmonic within the band.

    Raises:
        SampledTooSlowly: half the sample rate lies below the band edge.
        MeasurementError: not even the second harmonic lies within the band.
    """
    _require_band(band_hz, interval_s)
    top = math.floor(band_hz / frequency_hz * (1.0 + _EDGE_TOLERANCE))
    if top < 2:
        raise MeasurementError(f"no harmonic of {frequency_hz:.6g} Hz lies below the band edge at {band_hz:.6g} Hz")
    return top


def _require_band(band_hz: float, interval_s: float) -> None:
    if band_hz * interval_s >= 0.5:
        raise SampledTooSlowly(f"{1.0 / interval_s:.6g} Sa/s cannot show a band up to {band_hz:.6g} Hz")


def _lines(tone: ToneSpectrum, low_hz: float, high_hz: float) -> tuple[int, int]:
    """First line and the line after the last within low..high; never the line of dc."""
    first = max(math.ceil(low_hz / tone.line_hz - 1e-6), 1)
    stop = min(math.floor(high_hz / tone.line_hz + 1e-6) + 1, tone.power.size)
    if stop <= first:
        raise RecordTooShort(f"the record is too short to tell {high_hz:.6g} Hz from dc")
    return first, stop


def _instrument_density(tone: ToneSpectrum, band_hz: float) -> float:
    """Mean square noise a line: from above the band, where only the oscilloscope is; else between the harmonics."""
    above = tone.power[math.ceil(_EMPTY_MARGIN * band_hz / tone.line_hz) : -1]
    if above.size >= _FEWEST_LINES:
        return median_density(above)
    return median_density(tone.power[slice(*_lines(tone, _LOW_EDGE_HZ, band_hz))])


def median_density(power: Samples) -> float:
    """The mean of noise power a line from its median, which tones do not move: noise power is exponential."""
    return float(np.median(power)) / math.log(2.0)
