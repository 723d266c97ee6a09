"""What an oscilloscope's deviation from a straight line leaves in the ratio of two amplitudes.

In a ratio of two readings of one channel on one range its gain cancels. (Each range has a gain of its own, so between
two ranges nothing cancels.) What does not cancel is that the gain is not quite the same at both amplitudes. Two causes
are allowed for:

- The front end and the converter bend. A bend of third order, e(x) = 3 sqrt(3) L (x^3 - x) in parts of half the range,
  is off the straight line by L of the whole range at most; it makes the gain for a sine of amplitude a
  1 + 3 sqrt(3) L (3/4 a^2 - 1), so that of two amplitudes, the larger one of full range and the smaller one r times as
  large, differ by 9/4 sqrt(3) L (1 - r^2) = 3.9 L (1 - r^2).
- The steps of the converter are not alike. Each may be off by half a step, which moves the amplitude A of a sine by
  1.8 step / sqrt 12 sqrt(step / A) at most: the standard deviation of 2 sin x, averaged over steps of random error. It
  was found by summation; the factor grows from 1.2 at ten steps to 1.8 at a thousand.
"""

from __future__ import annotations

import math

from uncertainties import UFloat

from benchctl.measure.signal.record import Trace
from benchctl.measure.uncertainty import Accuracies, ErrorOf, exactly, measured, rectangular

_SAME_RANGE = 1e-3
_BEND = 9.0 / 4.0 * math.sqrt(3.0)
_STEPS = 1.8 / math.sqrt(12.0)


def on_ratio(
    ratio: UFloat, amplitudes: tuple[float, float], traces: tuple[Trace, Trace], accuracies: Accuracies
) -> UFloat:
    """A ratio of two amplitudes of one channel, with what its linearity leaves open.

    Args:
        ratio: one amplitude over the other.
        amplitudes: both.
        traces: those that they were read from.
        accuracies: of the channel's chain.
    """
    smaller, larger = sorted(map(abs, amplitudes))
    if not smaller > 0.0:
        return ratio
    if not math.isclose(*(trace.full_scale for trace in traces), rel_tol=_SAME_RANGE):
        return ratio * ErrorOf(accuracies).gain / ErrorOf(accuracies).gain
    step = max(trace.step for trace in traces)
    linearity = sum(accuracy.linearity for accuracy in accuracies)
    bend = rectangular(0.0, _BEND * linearity * (1.0 - (smaller / larger) ** 2), "linearity of the oscilloscope")
    uneven = "steps of the oscilloscope that are not alike"
    steps = sum((measured(0.0, _STEPS * (step / size) ** 1.5, uneven) for size in (larger, smaller)), exactly(0.0))
    return ratio * (1.0 + bend + steps)
