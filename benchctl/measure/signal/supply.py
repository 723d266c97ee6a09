"""Means, peaks and energy of a capture's traces over whole repetitions, so that the recharge of a burst is counted."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from benchctl.errors import RecordTooShort
from benchctl.measure.rounding.alike import alike_at_most
from benchctl.measure.signal.peaks import Blur, Peak, lowest_and_highest, sample_noise
from benchctl.measure.signal.products import inner_product
from benchctl.measure.signal.record import Capture, Samples, Trace

_CHUNK = 1 << 16  # samples turned into float64 at a time, so that a long record needs little room
_PEAK_BAND_HZ = 20e3
_NOISE_SAMPLES = 1 << 15  # enough to know the noise, which is alike all along a record, to half a per cent
_PARTS = 8  # a steady record is cut into so many like parts, whose scatter tells how well its mean is known
_RECHARGED_S = 0.1  # of common practice reservoirs and supplies recover in tens of milliseconds
READ_OVER_S = 0.02  # one period of 50 Hz
_MAINS_S = 0.1  # five periods of 50 Hz and six of 60 Hz
_MAINS_HZ = (50.0, 60.0)
_HUM_S = 1e-3  # a mean over it shows what hum is told by, and little of anything else
_TELLING = (1, 2)  # multiples of the mains that hum has before all, and by which one is told from the other
_FEWEST_PAUSED = 256  # samples that tell a mean
_FEWEST_PARTS = 4  # fewer say too little of their scatter


@dataclass(frozen=True)
class Span:
    """Samples `start` up to, not including, `stop`, made of `repeats` parts that should be alike."""

    start: int
    stop: int
    repeats: int = 1

    @property
    def samples(self) -> int:
        return self.stop - self.start

    def parts(self) -> list[Span]:
        """The like parts, or none where there are too few of them to tell their scatter."""
        if self.repeats < _FEWEST_PARTS:
            return []
        edges = np.linspace(self.start, self.stop, self.repeats + 1).round().astype(int).tolist()
        return [Span(start, stop) for start, stop in pairwise(edges)]


def whole_repetitions(capture: Capture, every_s: float) -> Span:
    """As many whole repetitions, from the record's start on, as it holds.

    Raises:
        RecordTooShort: less than one repetition.
    """
    repetitions = math.floor(capture.duration_s / every_s * (1.0 + 1e-9) + 1e-6)
    if repetitions < 1:
        raise RecordTooShort(
            f"capture '{capture.name}' holds {capture.duration_s:.6g} s, less than one repetition of {every_s:.6g} s"
        )
    return Span(0, _samples_of(capture, repetitions * every_s), repetitions)


def whole_cycles(capture: Capture, frequency_hz: float) -> Span:
    """As many whole cycles, from the record's start on, as it holds; a multiple of eight where there are many.

    Raises:
        RecordTooShort: less than two cycles.
    """
    cycles = math.floor(capture.duration_s * frequency_hz + 1e-6)
    if cycles < 2:
        raise RecordTooShort(f"capture '{capture.name}' holds less than two cycles of {frequency_hz:.6g} Hz")
    if cycles < _PARTS * _PARTS:
        return Span(0, _samples_of(capture, cycles / frequency_hz))
    return Span(0, _samples_of(capture, cycles // _PARTS * _PARTS / frequency_hz), _PARTS)


def settled_pause(capture: Capture, span: Span, frequency_hz: float, cycles: int, every_s: float) -> Span | None:
    """The last part of the pause between two bursts, at the end of the span: whole cycles, and whole periods of 50 and
    of 60 Hz where it is long enough; None where the supply has not had time to recharge the amplifier before."""
    settled_s = (every_s - cycles / frequency_hz) - _RECHARGED_S
    lasts_s = settled_s / 2.0
    if lasts_s >= _MAINS_S:
        lasts_s = math.floor(lasts_s / _MAINS_S) * _MAINS_S
    whole_s = math.floor(lasts_s * frequency_hz + 1e-6) / frequency_hz
    samples = _samples_of(capture, max(whole_s, 0.0))
    if samples < _FEWEST_PAUSED:
        return None
    return Span(span.stop - samples, span.stop, _PARTS)


def whole_record(capture: Capture) -> Span:
    """All of a record."""
    return Span(0, capture.samples, _PARTS)


def at_rest(capture: Capture) -> Span:
    """A record of an undriven amplifier, as far as it holds whole periods of the mains, in parts that do.

    A sine has no mean over whole periods, and neither have its harmonics. So hum moves no part's mean, and the scatter
    of the parts tells of what is left: carrier, noise and slow change. A record of a few periods is taken whole, and
    hum counts as scatter.
    """
    mains_hz = _mains_hz(capture)
    periods = math.floor(capture.duration_s * mains_hz * (1.0 + 1e-6))
    if periods < _FEWEST_PARTS:
        return whole_record(capture)
    each = max(periods // _PARTS, 1)
    parts = min(periods // each, _PARTS)
    return Span(0, _samples_of(capture, parts * each / mains_hz), parts)


def _mains_hz(capture: Capture) -> float:
    """50 or 60 Hz, whichever stands out more in the record."""
    block = max(math.floor(_HUM_S / capture.interval_s), 1)
    whole = capture.samples // block
    middles_s = block * capture.interval_s * np.arange(whole)
    strength = dict.fromkeys(_MAINS_HZ, 0.0)
    for trace in capture.traces.values():
        means = trace.codes[: whole * block].reshape(whole, block).mean(axis=1)
        means -= means.mean()
        squares = max(float(means @ means), 1e-12)
        for mains_hz in _MAINS_HZ:
            turns = np.exp(2j * math.pi * mains_hz * np.outer(_TELLING, middles_s))
            strength[mains_hz] += float(np.sum(np.abs(turns @ means) ** 2)) / squares
    return max(strength, key=lambda mains_hz: strength[mains_hz])


def _samples_of(capture: Capture, duration_s: float) -> int:
    return min(round(duration_s / capture.interval_s), capture.samples)


def mean(trace: Trace, span: Span) -> float:
    """Mean over the span, in the trace's unit."""
    codes = trace.codes[span.start : span.stop]
    return float(codes.mean(dtype=np.float64)) * trace.scale + trace.value_of_code_0


def swing(trace: Trace, span: Span, interval_s: float) -> float:
    """By how much, peak to peak, a mean over one period of the mains moves along the span; 0 where it holds less than
    two of them. A supply averages its readings over such a time (common practice), so each one may be anywhere in it.
    """
    width = round(READ_OVER_S / interval_s)
    if not 0 < width <= span.samples // 2:
        return 0.0
    sums = np.concatenate(([0], np.cumsum(trace.codes[span.start : span.stop], dtype=np.int64)))
    return float(np.ptp(sums[width:] - sums[:-width])) / width * trace.scale


def mean_square(trace: Trace, span: Span) -> float:
    """Mean square over the span, in the trace's unit squared."""
    return mean_product(trace, trace, span)


def mean_product(first: Trace, second: Trace, span: Span) -> float:
    """Mean of the product of two traces, sample by sample: power, where one is voltage and the other current."""
    total = 0.0
    for part in _chunks(span):
        values = first.values(part.start, part.stop)
        total += inner_product(values, values if second is first else second.values(part.start, part.stop))
    return total / span.samples


def extremes(trace: Trace, span: Span, interval_s: float) -> tuple[Peak, Peak]:
    """Lowest and highest mean over half a period of 20 kHz, so that the noise of a single sample is not a peak."""
    block = max(round(0.5 / (_PEAK_BAND_HZ * interval_s)), 1)
    noise = sample_noise(trace.values(span.start, min(span.stop, span.start + _NOISE_SAMPLES)))
    blur = Blur.of_means(noise, trace.step, block)
    # Rounding that comes alike goes up and down like a sine with the voltage, and the highest is one of its tops.
    blur = replace(blur, rounding=math.sqrt(2.0 * alike_at_most(noise, trace.step)), corner=True)
    return lowest_and_highest(_block_means(trace, span, block), blur)


def _block_means(trace: Trace, span: Span, block: int) -> Samples:
    whole = span.samples // block
    if whole < 1:
        raise RecordTooShort(f"{span.samples} samples are too few for a peak")
    codes = trace.codes[span.start : span.start + whole * block].reshape(whole, block)
    means: Samples = codes.mean(axis=1, dtype=np.float64) * trace.scale + trace.value_of_code_0
    return means


def _chunks(span: Span) -> Iterator[Span]:
    for begin in range(span.start, span.stop, _CHUNK):
        yield Span(begin, min(begin + _CHUNK, span.stop))
