"""What the steps of a meter's display leave open: a reading of 1.2 A that is shown in steps of 0.1 A may be 1.16 A.

Where readings scatter over several steps, the mean over them is finer than a step. Where they stand still, or go to
and fro between two, it is off by up to half a step.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from benchctl.measure.uncertainty import Accuracies, mean_of, rectangular

_AVERAGED_OVER = 1.5  # steps: readings that spread over more show three of them or more, and their mean is finer
_SAME = 1e-6  # of a step: what is left of a decimal fraction in binary form
_FINEST = 1e-4  # of what a meter may be off: a finer step does not count
_COARSEST = 10.0  # times what a meter may be off: readings that are farther apart tell of what was read, not of steps
_IN_A_DECADE = (5.0, 2.0, 1.0)  # steps of displays


def mean_as_shown(readings: Sequence[float], accuracies: Accuracies) -> UFloat:
    """The mean of readings with their scatter and what the steps of the display leave open.

    Raises:
        MeasurementError: there is no reading, or one of them is not a number.
    """
    return mean_of(readings) + rounding_of(readings, accuracies)


def rounding_of(readings: Sequence[float], accuracies: Accuracies) -> UFloat:
    """The error of rounding of the mean of some readings, nought for the best we know.

    The step is that which is stated; else the largest that fits all readings, but not more than the meter may be off,
    since a data sheet counts its own steps (common practice), or than the least difference between two readings.
    """
    values = np.asarray(readings, dtype=np.float64)
    stated = max((accuracy.resolution for accuracy in accuracies), default=0.0)
    step = stated or _step_seen(values, accuracies)
    is_averaged = float(np.ptp(values)) > _AVERAGED_OVER * step
    return rectangular(0.0, 0.0 if is_averaged else step / 2.0, "steps of the display")


def _step_seen(values: NDArray[np.float64], accuracies: Accuracies) -> float:
    """The largest step of which all readings are whole multiples; 0 where only a negligible one fits."""
    limit = sum(accuracy.limit(float(np.mean(values))) for accuracy in accuracies)
    distinct = np.unique(values)
    least_apart = float(np.diff(distinct).min()) * (1.0 + _SAME) if distinct.size > 1 else 0.0
    largest = max(limit, min(least_apart, _COARSEST * limit))
    if not largest > 0.0:
        return 0.0
    decade = 10.0 ** math.floor(math.log10(largest))
    steps = (digit * decade * 0.1**lower for lower in range(6) for digit in _IN_A_DECADE)
    fitting = (step for step in steps if _FINEST * limit <= step <= largest and _fits(values, step))
    return next(fitting, 0.0)


def _fits(values: NDArray[np.float64], step: float) -> bool:
    return bool(np.all(np.abs(values / step - np.round(values / step)) < _SAME))
