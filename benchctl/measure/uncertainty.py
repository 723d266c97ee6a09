"""From what the bench file says of instruments and loads to uncertain numbers, after the GUM (JCGM 100:2008).

An error that enters twice must be the same variable twice. So each instrument's error is one variable, made once for
an analysis and used wherever that instrument's values go; `uncertainties` then keeps the correlations.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, ufloat
from uncertainties.core import AffineScalarFunc, LinearCombination

from benchctl.errors import MeasurementError

COVERAGE_FACTOR = 2.0  # about 95 % of a normal distribution, as calibration certificates state it

# A rise that covers a resistor from cold to as hot as a wirewound one is run in practice (common practice).
_UNKNOWN_RISE_K = 150.0


@dataclass(frozen=True)
class Reference:
    """What several errors may have in common: the reference of one instrument, the warmth of one bank of loads.

    How much they have in common is not known; of their variance it is at most the part `most`. The worse is taken,
    figure by figure: where values are added up their errors count as alike, where one is divided by another as apart
    (`measure.freedom.combined`).
    """

    name: str
    most: float = 1.0


# Resistors of a bank are measured with one meter, whose error they share, each in a reading of its own: half and half,
# as nobody knows better (common practice). They share the air around them, and the thermometer.
_BANK = Reference("resistors of a bank", 0.5)
_WARMTH = Reference("warmth of a bank")


@dataclass(frozen=True)
class Accuracy:
    """Limits of error as data sheets give them: part of the reading, part of the range, and a fixed part.

    The part of the reading is an error of gain; range and fixed part are one of zero: two errors with two causes, each
    equally likely anywhere within its limit. `full scale` is that of the record; a reading has none, so a part of the
    range of a meter belongs into `fixed`.

    `linearity` is how far it may be off a straight line, as a part of the range: what is left between two values of
    one channel on one range. `resolution` is the step in which a meter shows its readings; 0 where that is not stated.
    `scale` names the instrument whose reference the error of gain goes back to, which several channels may share.
    """

    reading: float = 0.0
    range: float = 0.0
    fixed: float = 0.0
    linearity: float = 0.0
    resolution: float = 0.0
    scale: str = ""

    def zero_limit(self, full_scale: float = 0.0) -> float:
        """The largest error at zero, in the unit of the values."""
        return self.range * full_scale + self.fixed

    def limit(self, value: float, full_scale: float = 0.0) -> float:
        """The largest error at `value`, in its unit: both errors at their limits, and the same way."""
        return self.reading * abs(value) + self.zero_limit(full_scale)


Accuracies = Sequence[Accuracy]  # of one signal: each part of the chain (oscilloscope, probe) has its own error


@dataclass(frozen=True)
class LoadResistance:
    """A load resistor as the bench file knows it, and its temperature while it was used.

    `relative_uncertainty` is expanded (k = 2), of `measured_ohm` at `reference_c`; so is
    `temperature_coefficient_uncertainty_per_k`. `temperature_c` None: nobody measured it, so any rise from 0 to 150 K
    is taken as equally likely. `temperature_uncertainty_k` is a standard uncertainty.
    """

    nominal_ohm: float
    measured_ohm: float
    relative_uncertainty: float = 0.0
    temperature_coefficient_per_k: float = 0.0
    temperature_c: float | None = None
    reference_c: float = 20.0
    temperature_uncertainty_k: float = 0.0
    temperature_coefficient_uncertainty_per_k: float = 0.0

    def resistance(self, of: str = "load") -> UFloat:
        """R (1 + alpha (T - T0)) in ohm, as a new variable: call it once for an analysis. `of` names it in a budget.

        Raises:
            MeasurementError: the resistance is not above zero.
        """
        if not self.measured_ohm > 0.0:
            raise MeasurementError(f"a load of {self.measured_ohm} ohm cannot turn voltage into power")
        own_ohm = self.measured_ohm * self.relative_uncertainty / COVERAGE_FACTOR
        cold = self.measured_ohm + _error(own_ohm, _BANK, f"{of}: resistance")
        return cold * (1.0 + self._coefficient(f"{of}: temperature coefficient") * self._rise_k(f"{of}: temperature"))

    def _coefficient(self, cause: str) -> UFloat:
        """Measured at two temperatures with one meter and one thermometer, as those of the other resistors were."""
        own_per_k = self.temperature_coefficient_uncertainty_per_k / COVERAGE_FACTOR
        return self.temperature_coefficient_per_k + _error(own_per_k, _BANK, cause)

    def _rise_k(self, cause: str) -> UFloat:
        if self.temperature_c is None:
            return _UNKNOWN_RISE_K / 2.0 + _limited(_UNKNOWN_RISE_K / 2.0, _WARMTH, cause)
        return self.temperature_c - self.reference_c + _error(self.temperature_uncertainty_k, _WARMTH, cause)


class Scatter:
    """Readings taken together, whose scatter has so many degrees of freedom.

    Means that come from the same readings share one, since what was learnt of one scatter is no news of the other.
    """

    def __init__(self, freedom: float) -> None:
        self.freedom = freedom


class Cause:
    """What an error is an error of, as a budget names it, and what it shares with others.

    `is_limited`: it is anywhere within its limits, as likely at one place as at another, and never beyond them.
    """

    def __init__(self, words: str, shared: Scatter | Reference | None = None, *, is_limited: bool = False) -> None:
        self.words = words
        self.shared = shared
        self.is_limited = is_limited


def exactly(value: float) -> UFloat:
    """A value without error of its own (`ufloat` warns of those)."""
    return AffineScalarFunc(float(value), LinearCombination({}))


def measured(value: float, standard_uncertainty: float, cause: str = "") -> UFloat:
    """A value with a standard uncertainty, which may be zero; `cause` names its error in a budget."""
    if standard_uncertainty < 0.0:
        raise ValueError(f"a standard uncertainty cannot be negative: {standard_uncertainty}")
    return ufloat(value, standard_uncertainty, tag=Cause(cause)) if standard_uncertainty else exactly(value)


def rectangular(value: float, half_width: float, cause: str = "") -> UFloat:
    """A value whose error is anywhere within +-half_width: u = a / sqrt 3 (JCGM 100, 4.3.7)."""
    if half_width < 0.0:
        raise ValueError(f"half a width cannot be negative: {half_width}")
    return value + _limited(half_width, None, cause)


def scattered(standard_uncertainty: float, scatter: Scatter, cause: str = "") -> UFloat:
    """An error, 0 for the best we know, whose standard uncertainty was seen in readings."""
    return _error(standard_uncertainty, scatter, cause)


def _error(standard_uncertainty: float, shared: Scatter | Reference | None, cause: str = "") -> UFloat:
    return ufloat(0.0, standard_uncertainty, tag=Cause(cause, shared)) if standard_uncertainty else exactly(0.0)


def _limited(half_width: float, shared: Reference | None, cause: str) -> UFloat:
    """An error, 0 for the best we know, that is anywhere within +-half_width."""
    u = half_width / math.sqrt(3.0)
    return ufloat(0.0, u, tag=Cause(cause, shared, is_limited=True)) if u else exactly(0.0)


class ErrorOf:
    """The errors of one instrument chain in one analysis: the same variables for every value it gave.

    `gain` is 1 with the chain's errors of gain, `zero` is 0 with its errors of zero, in the unit of the values. Where a
    zero was taken, `zero_limit` is the largest error that it leaves, whatever the accuracies say of zero. `of` names
    the chain in a budget, such as `output A`.
    """

    def __init__(
        self,
        accuracies: Accuracies,
        full_scale: float = 0.0,
        zero_limit: float | None = None,
        of: str = "",
    ) -> None:
        limits = [accuracy.zero_limit(full_scale) for accuracy in accuracies] if zero_limit is None else [zero_limit]
        is_probed = len(accuracies) > 1  # the oscilloscope, then the probe
        self.gain = sum((_gain_error(each, of, is_probed=is_probed) for each in accuracies), start=exactly(1.0))
        self.zero = sum((rectangular(0.0, limit, f"{of}: zero" if of else "") for limit in limits), exactly(0.0))

    def on(self, value: UFloat | float) -> UFloat:
        """`value` with the chain's errors on it; an uncertainty it already has is kept."""
        return value * self.gain + self.zero

    def on_difference(self, value: UFloat | float) -> UFloat:
        """The same for what an error of zero does not move: an amplitude, a peak to peak."""
        return value * self.gain

    def on_rms(self, rms: UFloat | float, mean: float) -> UFloat:
        """The same for a true rms of values whose mean is `mean`: d rms / d zero = mean / rms.

        Raises:
            MeasurementError: there is no signal.
        """
        size = rms if isinstance(rms, float) else float(rms.nominal_value)
        if not size > 0.0:
            raise MeasurementError("a signal of nothing has no rms that an error could move")
        return rms * self.gain + self.zero * (mean / size)


def _gain_error(accuracy: Accuracy, of: str, *, is_probed: bool) -> UFloat:
    reference = Reference(accuracy.scale) if accuracy.scale else None
    part = f" of the {accuracy.scale or 'probe'}" if accuracy.scale or is_probed else ""
    return _limited(accuracy.reading, reference, f"{of}: scale{part}" if of else "")


def mean_of(readings: Sequence[float], cause: str = "") -> UFloat:
    """The mean of repeated readings with u = s / sqrt n (JCGM 100, 4.2.3); one reading alone has no scatter.

    Raises:
        MeasurementError: there is no reading, or one of them is not a number.
    """
    values = np.asarray(readings, dtype=np.float64)
    if values.size == 0 or not np.all(np.isfinite(values)):
        raise MeasurementError("no readable reading was taken")
    mean = float(np.mean(values))
    if values.size == 1:
        return exactly(mean)
    return mean + scattered(float(np.std(values, ddof=1)) / math.sqrt(values.size), Scatter(values.size - 1), cause)


def means_pooled(groups: Sequence[Sequence[float]]) -> list[UFloat]:
    """The means of many small groups of readings of one instrument, whose scatter is taken over all of them (JCGM 100,
    4.2.4): a few in each say little of it. A group that scatters more than most keeps its own.

    Raises:
        MeasurementError: a group has no reading, or one of them is not a number.
    """
    freedom = sum(len(group) - 1 for group in groups)
    alone = [mean_of(group) for group in groups]
    if freedom < 1:
        return alone
    squares = sum((len(group) - 1) * float(np.var(group, ddof=1)) for group in groups if len(group) > 1)
    pooled, scatter = math.sqrt(squares / freedom), Scatter(freedom)
    return [
        float(mean.nominal_value) + scattered(max(pooled / math.sqrt(len(group)), float(mean.std_dev)), scatter)
        for mean, group in zip(alone, groups, strict=True)
    ]


def means_together(*series: Sequence[float]) -> tuple[UFloat, ...]:
    """The means of quantities read together, n times each, with the correlation of their scatter (JCGM 100, 5.2.3).

    Series of unlike length were not read together, and their means are independent.
    """
    means = tuple(mean_of(readings) for readings in series)
    count = len(series[0])
    if count < 2 or any(len(readings) != count for readings in series):
        return means
    variances, directions = np.linalg.eigh(np.atleast_2d(np.cov(series)) / count)
    # Along the eigenvectors of the covariance matrix the scatter is independent; rounding may make a variance negative.
    together = Scatter(count - 1)
    scatter = [scattered(math.sqrt(max(float(variance), 0.0)), together) for variance in variances]
    return tuple(
        float(mean.nominal_value) + sum(float(part) * own for part, own in zip(row, scatter, strict=True))
        for mean, row in zip(means, directions, strict=True)
    )
