"""A burst as a table, a row a cycle: what a technician would read off the screen, for every cycle.

Cycles are cut at whole periods from the burst's start, each to the nearest sample. What a cycle holds between 20 Hz
and the band edge is its harmonics: noise, too, falls on them, as one cycle shows nothing between.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count

import numpy as np
from numpy.typing import NDArray

from benchctl.errors import RecordTooShort, SilentRecord
from benchctl.measure.bursts.envelope import REST_CYCLES, SETTLING_CYCLES, Burst, find_burst
from benchctl.measure.rounding.alike import alike
from benchctl.measure.rounding.ripple import ripple_on
from benchctl.measure.rounding.tops import shares_of_tops
from benchctl.measure.signal.distortion import BAND_HZ, Distortion, Heard, highest_harmonic
from benchctl.measure.signal.harmonics import HarmonicFit
from benchctl.measure.signal.peaks import Blur, Peak, half_span, highest_of_rows, lowest_of_rows, outermost
from benchctl.measure.signal.record import Capture, Samples, Trace

__all__ = ["Burst", "Cycle", "CycleTable", "cycle_table", "find_burst"]

_ROUNDING_MATTERS = 0.01  # of a step
_FEWEST_TO_SCATTER = 4  # cycles: fewer tell too little of how they differ
_BEFORE_IT = 0.25  # cycles: a record without what lies above its band begins to rise so much before a burst
_BATCH = 1 << 16  # samples taken apart at a time: they stay in the cache, and a long record needs little room


@dataclass(frozen=True)
class Cycle:
    """One whole cycle at the output; mean, rms and the rms of its fundamental in the trace's unit."""

    start_s: float
    highest: Peak
    lowest: Peak
    mean: float
    rms: float
    fundamental_rms: float
    thd_n: Distortion

    @property
    def heard(self) -> Heard:
        """What a search for a level judges it by."""
        return Heard(self.thd_n, self.fundamental_rms)

    @property
    def peak(self) -> Peak:
        """Half of peak to peak, which an offset does not move."""
        return half_span(self.lowest, self.highest)

    @property
    def outermost(self) -> Peak:
        """The peak that is farther from zero, as a size."""
        return outermost(self.lowest, self.highest)


@dataclass(frozen=True)
class CycleTable:
    """The cycles of one burst at one channel, in order.

    `noise_rms` is the record's own noise within the band over a cycle, in the trace's unit; it is spread over `lines`
    harmonics.
    """

    cycles: tuple[Cycle, ...]
    frequency_hz: float
    noise_rms: float
    lines: int

    @property
    def lowest(self) -> Cycle:
        return min(self.cycles, key=lambda cycle: cycle.rms)

    @property
    def highest(self) -> Cycle:
        return max(self.cycles, key=lambda cycle: cycle.rms)

    @property
    def worst(self) -> Cycle:
        """The cycle with the most distortion."""
        return max(self.cycles, key=lambda cycle: cycle.thd_n.ratio)

    @property
    def worst_thd_n(self) -> Distortion:
        """The distortion of the worst cycle, freed of what choosing the worst among noisy ones adds.

        Of cycles that are alike the highest ratio is the one to which noise has added most. How far the true ratios
        differ is what the seen ones scatter beyond their noise; each true one lies that part of the way from the mean
        to what was seen (shrinkage after James and Stein; the part is the signal in the variance). The mean is known
        better than one cycle is, and the part itself only as well as so many cycles tell (Morris, Parametric empirical
        Bayes inference, J. Am. Stat. Assoc. 78, 1983, from memory). Tops that stand still err alike in all cycles.
        """
        ratios = np.array([cycle.thd_n.ratio for cycle in self.cycles])
        worst = self.worst.thd_n
        if ratios.size < _FEWEST_TO_SCATTER:
            return worst
        noise = worst.floor**2 / (2.0 * worst.lines)
        own = min(self.noise_rms**2 / (2.0 * self.lines * self.worst.rms**2), noise)
        scatter = float(np.var(ratios, ddof=1))
        told = max(scatter - noise, 0.0) / scatter if scatter > 0.0 else 1.0
        mean = float(ratios.mean())
        left = own * (told + (1.0 - told) / ratios.size) + noise - own
        left += 2.0 / (ratios.size - 3) * (1.0 - told) ** 2 * (worst.ratio - mean) ** 2
        lines = worst.floor**2 / (2.0 * left) if left > 0.0 else worst.lines
        return replace(worst, ratio=mean + told * (worst.ratio - mean), lines=lines)


def cycle_table(capture: Capture, signal: str, burst: Burst, band_hz: float = BAND_HZ) -> CycleTable:
    """Every cycle of the burst at `signal`.

    Raises:
        RecordTooShort: the burst does not lie within the record.
        SampledTooSlowly: the band edge lies beyond half the sample rate.
        SilentRecord: a cycle has no signal at all.
    """
    trace = capture.trace(signal)
    highest = highest_harmonic(burst.frequency_hz, band_hz, capture.interval_s)
    cut = _Cut(trace, capture, burst.start_s, burst.cycles, burst.frequency_hz)
    fit = HarmonicFit(cut.samples, capture.interval_s, burst.frequency_hz, highest)
    part = _band_part(burst.frequency_hz, capture.interval_s, highest)
    scatter = _scatter_rms(trace, capture, burst, fit, highest)
    noise_rms = max(scatter, trace.step * math.sqrt(part / 12.0))
    noise = scatter / math.sqrt(part)
    ripple = _ripple(trace, capture.interval_s, burst.frequency_hz)
    rounding = _in_line(fit, cut, trace.step, alike(noise, trace.step, ripple))
    reader = _CycleReader(fit, _blur(trace, noise, part, ripple), noise_rms, highest - 1, rounding)
    starts_s = (burst.start_s + number / burst.frequency_hz for number in count())
    cycles = tuple(cycle for rows in cut for cycle in reader.read(rows, starts_s, signal))
    return CycleTable(cycles, burst.frequency_hz, noise_rms, highest - 1)


def _blur(trace: Trace, noise: float, part: float, ripple: float) -> Blur:
    """What hides the peaks: noise of a sample, of which a low-pass leaves a part."""
    if trace.within is None:
        return Blur.of_samples(noise, trace.step)
    return Blur.of_band(noise, trace.step, min(part, 1.0), ripple)


def _ripple(trace: Trace, interval_s: float, frequency_hz: float) -> float:
    """The amplitude of what a low-pass has taken off of a carrier; 0 where there was no low-pass."""
    if trace.within is None:
        return 0.0
    whole = replace(trace, within=None).values()
    return ripple_on(whole - trace.within, trace.within, whole.size * interval_s * frequency_hz, trace.step)


def _in_line(fit: HarmonicFit, cut: _Cut, step: float, rounding: float) -> float:
    """What rounding that comes alike, of that mean square, shifts all harmonics together by: an RMS."""
    if not rounding > (_ROUNDING_MATTERS * step) ** 2:
        return 0.0
    cycles = fit(next(iter(cut)))
    amplitudes = cycles.amplitudes[int(np.argmax(cycles.residual_mean_square / cycles.band_mean_square))]
    shares = shares_of_tops(amplitudes[0], np.arange(2, amplitudes.size + 1), amplitudes[1:], step)
    return 0.0 if shares is None else math.sqrt(rounding * shares.in_line)


@dataclass(frozen=True)
class _CycleReader:
    """Turns rows of samples into cycles; the noise of `noise_rms` is spread over `lines` harmonics.

    `rounding_rms` is what rounding shifts all harmonics together by: on a quiet converter the flat tops of a clipped
    cycle stand on one step, another in each cycle as the tops sink.
    """

    fit: HarmonicFit
    blur: Blur
    noise_rms: float
    lines: int
    rounding_rms: float

    def read(self, rows: Samples, starts_s: Iterator[float], signal: str) -> Iterator[Cycle]:
        parts = self.fit(rows)
        band = parts.band_mean_square
        if not np.all(band > 0.0):
            raise SilentRecord(f"'{signal}' is silent within the burst")
        noise, rounding = self.noise_rms**2, 2.0 * self.rounding_rms**2
        ratios, floors = np.sqrt(parts.residual_mean_square / band), np.sqrt((noise + rounding) / band)
        in_line = noise / self.lines + rounding
        lines = (noise + rounding) / in_line if in_line > 0.0 else float(self.lines)
        columns = (parts.mean, np.sqrt(parts.mean_square), parts.fundamental_rms, ratios, floors)
        numbers = zip(*(column.tolist() for column in columns), strict=True)
        peaks = zip(highest_of_rows(rows, self.blur), lowest_of_rows(rows, self.blur), strict=True)
        for (highest, lowest), (mean, rms, fundamental, ratio, floor) in zip(peaks, numbers, strict=True):
            thd_n = Distortion(ratio, floor, lines)
            yield Cycle(next(starts_s), highest, lowest, mean, rms, fundamental, thd_n)


class _Cut:
    """Cycles cut from a trace: iterates over batches of rows, shape (cycles, samples), a row from each cycle's start.

    Raises:
        RecordTooShort: the cycles do not lie within the record.
    """

    def __init__(self, trace: Trace, capture: Capture, start_s: float, cycles: int, frequency_hz: float) -> None:
        period = 1.0 / (frequency_hz * capture.interval_s)
        self.samples = round(period)
        self.begin = (start_s - capture.start_s) / capture.interval_s + period * np.arange(cycles)
        self._trace = trace
        self.starts = self._within_record(np.ceil(self.begin - 0.5).astype(np.int64), max(1, round(0.01 * period)))

    def _within_record(self, starts: NDArray[np.int64], slack: int) -> NDArray[np.int64]:
        """Phase is known to a part of a sample, so a burst that fills the record to its edge may seem to pass it."""
        last = self._trace.codes.size - self.samples
        if starts[0] < -slack or starts[-1] > last + slack:
            raise RecordTooShort("the burst does not lie within the record")
        return np.clip(starts, 0, last)

    def __iter__(self) -> Iterator[Samples]:
        batch = max(_BATCH // self.samples, 1)
        for first in range(0, self.starts.size, batch):
            starts = self.starts[first : first + batch]
            values = self._trace.values(int(starts[0]), int(starts[-1]) + self.samples)
            windows = np.lib.stride_tricks.sliding_window_view(values, self.samples)
            yield windows[starts - starts[0]]

    @property
    def turns(self) -> Samples:
        """By what part of a sample each row begins after its cycle, shape (cycles,)."""
        late: Samples = self.starts - self.begin
        return late


def _scatter_rms(trace: Trace, capture: Capture, burst: Burst, fit: HarmonicFit, highest: int) -> float:
    """The record's own noise on the harmonics of a cycle: scatter from cycle to cycle of the rest after the burst or,
    where that is too short, before it; 0 where there is too little rest to tell."""
    cut = _rest_after(trace, capture, burst, fit) or _rest_before(trace, capture, burst)
    if cut is None:
        return 0.0
    amplitudes = np.vstack([fit(rows).amplitudes for rows in cut])[:, 1:]
    orders = 2.0 * math.pi * burst.frequency_hz * capture.interval_s * np.arange(2, highest + 1)
    amplitudes *= np.exp(-1j * np.outer(cut.turns, orders))
    # Half the mean square of successive differences is the variance, and no slow drift counts in it.
    differences = np.diff(amplitudes, axis=0)
    variance = float(np.sum(differences.real**2 + differences.imag**2, axis=1).mean()) / 2.0
    return math.sqrt(variance / 2.0)


def _rest_after(trace: Trace, capture: Capture, burst: Burst, fit: HarmonicFit) -> _Cut | None:
    """The cycles of rest up to where the next burst begins, if there are enough."""
    begin_s = burst.stop_s + SETTLING_CYCLES / burst.frequency_hz
    room = math.floor((capture.start_s + capture.duration_s - begin_s) * burst.frequency_hz) - 1
    if room < 3:
        return None
    cut = _Cut(trace, capture, begin_s, min(room, REST_CYCLES), burst.frequency_hz)
    amplitudes = np.vstack([fit(rows).amplitudes for rows in cut])
    loud = np.vstack([fit(rows).amplitudes for rows in _Cut(trace, capture, burst.start_s, 1, burst.frequency_hz)])
    rest = _before_next_burst(np.abs(amplitudes[:, 0]), float(np.abs(loud[0, 0])))
    return _Cut(trace, capture, begin_s, rest, burst.frequency_hz) if rest >= _FEWEST_TO_SCATTER else None


def _rest_before(trace: Trace, capture: Capture, burst: Burst) -> _Cut | None:
    """The whole cycles of rest before the burst begins, if there are enough."""
    rest = min(math.floor((burst.start_s - capture.start_s) * burst.frequency_hz - _BEFORE_IT), REST_CYCLES)
    if rest < _FEWEST_TO_SCATTER:
        return None
    begin_s = burst.start_s - (rest + _BEFORE_IT) / burst.frequency_hz
    return _Cut(trace, capture, begin_s, rest, burst.frequency_hz)


def _before_next_burst(fundamentals: Samples, loud: float) -> int:
    """How many cycles of a rest there are before the one in which the next burst begins, if one does."""
    quiet = float(np.median(fundamentals))
    begun = np.flatnonzero(fundamentals > quiet + 0.25 * (loud - quiet))
    return max(int(begun[0]) - 1, 0) if begun.size and loud > quiet else fundamentals.size


def _band_part(frequency_hz: float, interval_s: float, highest: int) -> float:
    """The part of white noise up to half the sample rate that falls on harmonics 2 to the highest of one cycle."""
    return 2.0 * frequency_hz * interval_s * (highest - 1)
