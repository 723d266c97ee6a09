"""What the amplifier draws: means, peaks and energy, over whole repetitions so that the recharge is counted."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from benchctl.errors import RecordTooShort
from benchctl.measure.record import Capture, Samples, Trace

_CHUNK = 1 << 16  # samples turned into float64 at a time, so that a long record needs little room
_PEAK_BAND_HZ = 20e3  # peaks are of means over half a period of this: what the fuse and the leads still feel


@dataclass(frozen=True)
class Span:
    """Samples `start` up to, not including, `stop` of a capture."""

    start: int
    stop: int


def whole_repetitions(capture: Capture, every_s: float) -> Span:
    """As many whole repetitions from the record's start as it holds.

    Raises:
        RecordTooShort: less than one repetition.
    """
    repetitions = math.floor(capture.duration_s / every_s * (1.0 + 1e-9) + 1e-6)
    if repetitions < 1:
        raise RecordTooShort(
            f"capture '{capture.name}' holds {capture.duration_s:.6g} s, less than one repetition of {every_s:.6g} s"
        )
    return Span(0, min(round(repetitions * every_s / capture.interval_s), capture.samples))


def mean(trace: Trace, span: Span) -> float:
    """Mean of the span, in the trace's unit."""
    codes = trace.codes[span.start : span.stop]
    return float(codes.mean(dtype="float64")) * trace.scale + trace.offset


def mean_square(trace: Trace, span: Span) -> float:
    """Mean square of the span, in the trace's unit squared."""
    return mean_product(trace, trace, span)


def mean_product(first: Trace, second: Trace, span: Span) -> float:
    """Mean of the product of two traces sample by sample: power, where one is voltage and the other current."""
    total = 0.0
    for part in _chunks(span):
        values = first.values(part.start, part.stop)
        total += float(values @ (values if second is first else second.values(part.start, part.stop)))
    return total / (span.stop - span.start)


def extremes(trace: Trace, span: Span, interval_s: float) -> tuple[float, float]:
    """Lowest and highest mean over 25 us (half a period of 20 kHz), so that a single noisy sample is no peak."""
    block = max(round(0.5 / (_PEAK_BAND_HZ * interval_s)), 1)
    means = _block_means(trace, span, block)
    return float(means.min()), float(means.max())


def _block_means(trace: Trace, span: Span, block: int) -> Samples:
    whole = (span.stop - span.start) // block
    if whole < 1:
        raise RecordTooShort(f"{span.stop - span.start} samples are too few for a peak")
    codes = trace.codes[span.start : span.start + whole * block].reshape(whole, block)
    means: Samples = codes.mean(axis=1, dtype="float64") * trace.scale + trace.offset
    return means


def _chunks(span: Span) -> Iterator[Span]:
    for begin in range(span.start, span.stop, _CHUNK):
        yield Span(begin, min(begin + _CHUNK, span.stop))
