"""The zero of an oscilloscope's inputs: what each shows on each range while nothing is at its probe.

A data sheet states the error of zero as a part of the range, so on a wide range it hides some dc: a tenth of a division
of a range for 50 V is half a volt. It is another on each range, and stays nearly the same for hours. So it is taken
once on each range that a run may use, and subtracted from every record that is taken on that range.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchctl.measure.rounding.alike import alike
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.uncertainty import Accuracies

# What is left of the stated error of zero once it was subtracted. It drifts with the instrument's temperature: while a
# warmed-up bench is in use, by no more than a tenth of what is allowed for all temperatures (common practice).
DRIFT = 0.1
# Two records are on the same range where their codes stand for the same voltage, but for rounding.
_SAME_SCALE = 1e-6
# A mean of so many standard uncertainties is no chance.
_CERTAIN = 4.0
_NAME = "zero {number} of {signal}"


@dataclass(frozen=True)
class Zero:
    """One input on one range, which the `scale` of its codes tells: what it showed, its noise (RMS of a sample), and by
    how much its zero may be off once `value` is subtracted. All in the signal's unit."""

    scale: float
    value: float
    noise: float
    limit: float


Zeros = Mapping[str, Sequence[Zero]]


def trace_name(number: int, signal: str) -> str:
    """What the trace of a signal on its range `number` is called in the record of zeros."""
    return _NAME.format(number=number, signal=signal)


def stated_limit(accuracies: Accuracies, full_scale: float) -> float:
    """The largest error of zero that the bench file allows on a range."""
    return float(sum(accuracy.zero_limit(full_scale) for accuracy in accuracies))


def limit_left(accuracies: Accuracies, full_scale: float, bits: int, noise: float = 0.0, samples: int = 0) -> float:
    """How far zero may be off once it was subtracted: half the width of an even spread that is as wide as all of its
    causes together, which are independent.

    They are its drift, evenly spread; what noise leaves of half a step of the converter, in the record of the zero and
    in the one that it is taken from, which goes as a sine and has half the square of its largest; and the noise of the
    mean of the zero's `samples`, of which two standard deviations count as a limit.
    """
    half = half_step(full_scale, bits)
    rounding = min(alike(noise, 2.0 * half), half**2 / 3.0)
    own = noise**2 / samples if samples else 0.0
    return math.sqrt((DRIFT * stated_limit(accuracies, full_scale)) ** 2 + 6.0 * rounding + 4.0 * own)


def half_step(full_scale: float, bits: int) -> float:
    """Half a step of the converter, by which its codes may be off."""
    return 0.5 * full_scale / 2.0**bits


def zeros_of(record: Capture, accuracy: Mapping[str, Accuracies], bits: int) -> dict[str, tuple[Zero, ...]]:
    """What a record of zeros tells: signal -> its zero on each range."""
    found: dict[str, list[Zero]] = {}
    for name, trace in record.traces.items():
        signal = name.partition(" of ")[2]
        found.setdefault(signal, []).append(_zero(trace, accuracy.get(signal, ()), bits))
    return {signal: tuple(zeros) for signal, zeros in found.items()}


def _zero(trace: Trace, accuracies: Accuracies, bits: int) -> Zero:
    values = trace.values()
    noise = float(np.std(values))
    limit = limit_left(accuracies, trace.full_scale, bits, noise, values.size)
    return Zero(trace.scale, float(np.mean(values)), noise, limit)


def beyond_stated(record: Capture, accuracy: Mapping[str, Accuracies], bits: int) -> dict[str, Trace]:
    """The signals that show more than any error of zero, each with the trace that shows it most clearly.

    On its finest range an input's error is least in volts, so a voltage at the probe cannot pass for it there.
    """
    found: dict[str, Trace] = {}
    for name, trace in record.traces.items():
        signal = name.partition(" of ")[2]
        values = trace.values()
        chance = _CERTAIN * float(np.std(values)) / math.sqrt(values.size)
        allowed = stated_limit(accuracy.get(signal, ()), trace.full_scale) + half_step(trace.full_scale, bits) + chance
        if abs(float(np.mean(values))) > allowed:
            found.setdefault(signal, trace)
    return found


def subtracted(capture: Capture, zeros: Zeros) -> Capture:
    """The record with the zero of each signal's range, as far as that was taken; a record that has its zeros stays as
    it is."""
    traces = {signal: _with_zero(trace, zeros.get(signal, ())) for signal, trace in capture.traces.items()}
    return replace(capture, traces=traces)


def _with_zero(trace: Trace, zeros: Sequence[Zero]) -> Trace:
    for zero in zeros:
        if math.isclose(zero.scale, trace.scale, rel_tol=_SAME_SCALE):
            return replace(trace, zero=zero.value, zero_limit=zero.limit)
    return trace
