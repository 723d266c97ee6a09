"""What a workshop measures of its own load resistors, probes, clamp and leads, with uncertainty (JCGM 100:2008)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.freedom import expanded
from benchctl.measure.uncertainty import COVERAGE_FACTOR, Accuracy, ErrorOf, exactly, mean_of, rectangular

REFERENCE_C = 20.0
"""Resistances are stated at this temperature."""

THERMAL_EMF_V = 10e-6
"""The most that joints of unlike metals give where one is warmer than the other by some degrees (common practice: some
microvolts a kelvin). It cancels where the current is reversed."""

LEAST_RISE_K = 20.0
"""Two temperatures nearer to each other say little of a temperature coefficient."""

READINGS = 10
"""Enough that their scatter is known to a quarter (JCGM 100, table E.1)."""

DRIFT = 0.1
"""What is left of the stated error of zero once it was subtracted (common practice, as in `budget.zero`)."""

MOST_APART = 0.05
"""Within so much of each other two readings on one range are off a straight line by the same (common practice)."""

_DIGITS_OF_U = 2


@dataclass(frozen=True)
class Warmth:
    """The temperature of a resistor, and by how much that may be off."""

    temperature_c: float
    limit_k: float

    def rise_k(self, cause: str = "temperature") -> UFloat:
        """Above 20 degC, as a new variable."""
        return rectangular(self.temperature_c - REFERENCE_C, self.limit_k, cause)


@dataclass(frozen=True)
class Stated:
    """A measured value with its relative expanded uncertainty, k = 2 or what Student's t asks for: who reads it takes
    it for that of a normal distribution."""

    value: float
    relative_uncertainty: float


def stated(value: UFloat) -> Stated:
    """As a calibration file has it. The uncertainty has two digits and is rounded up.

    Raises:
        MeasurementError: the value is not above zero, or is uncertain by half and more.
    """
    nominal, (uncertainty, factor) = float(value.nominal_value), expanded(value)
    if not nominal > 0.0:
        raise MeasurementError(f"it came out as {nominal:.4g}, which is not above zero; look at the readings and signs")
    relative = uncertainty * max(COVERAGE_FACTOR / factor, 1.0) / nominal
    if relative >= 0.5:
        raise MeasurementError(f"its uncertainty came out as {100.0 * relative:.3g} %, which is no measurement")
    return Stated(float(f"{nominal:.6g}"), _rounded_up(relative))


def _rounded_up(value: float) -> float:
    if value <= 0.0:
        raise MeasurementError("no error was stated of anything, so its uncertainty is not known")
    step = 10.0 ** (math.floor(math.log10(value)) - _DIGITS_OF_U + 1)
    return float(f"{math.ceil(value / step - 1e-9) * step:.3g}")


class Ohmmeter:
    """The multimeter, measuring resistance with four leads; its errors are the same at each reading.

    `current_a` is what it sends through the resistor: a thermal emf counts for so many ohms.
    """

    def __init__(self, accuracy: Accuracy, current_a: float) -> None:
        self._errors = ErrorOf((accuracy,), of="multimeter")
        self._emf = rectangular(0.0, THERMAL_EMF_V / current_a, "thermal emf")

    def resistance(self, readings: Sequence[float], exchanged: Sequence[float] = ()) -> UFloat:
        """From readings, and from those with all four leads exchanged, which reverses the current."""
        forward = mean_of(readings, "scatter of the readings")
        if not exchanged:
            return self._errors.on(forward) + self._emf
        return self._errors.on((forward + mean_of(exchanged, "scatter of the readings")) / 2.0)


@dataclass(frozen=True)
class VoltsAmperes:
    """Voltage across a resistor and current through it, as a person has read them."""

    volts: float
    amperes: float


class TwoMeters:
    """Volts over amperes, each of a meter with an accuracy of its own."""

    def __init__(self, volts: Accuracy, amperes: Accuracy) -> None:
        self._volts = ErrorOf((volts,), of="voltmeter")
        self._amperes = ErrorOf((amperes,), of="ammeter")

    def resistance(self, forward: VoltsAmperes, backward: VoltsAmperes | None = None) -> UFloat:
        """(V+ - V-) / (I+ - I-): a thermal emf and both meters' zeros cancel. Without the reversed current they count.

        Raises:
            MeasurementError: no current flows.
        """
        if backward is None:
            volts = self._volts.on(forward.volts) + rectangular(0.0, THERMAL_EMF_V, "thermal emf")
            amperes = self._amperes.on(forward.amperes)
        else:
            volts = self._volts.on_difference(abs(forward.volts) + abs(backward.volts))
            amperes = self._amperes.on_difference(abs(forward.amperes) + abs(backward.amperes))
        if not abs(float(amperes.nominal_value)) > 0.0:
            raise MeasurementError("without a current there is no resistance")
        return volts / amperes


def at_reference(resistance: UFloat, coefficient_per_k: float, warmth: Warmth) -> UFloat:
    """A resistance at 20 degC. The stated temperature coefficient may be off by as much as itself (common practice for
    a value of a data sheet)."""
    coefficient = rectangular(coefficient_per_k, abs(coefficient_per_k), "temperature coefficient")
    return resistance / (exactly(1.0) + coefficient * warmth.rise_k())


@dataclass(frozen=True)
class AtTwoTemperatures:
    """A resistance at 20 degC and its temperature coefficient, in 1/K."""

    resistance: UFloat
    coefficient: UFloat


def from_two_temperatures(cold: UFloat, cold_at: Warmth, hot: UFloat, hot_at: Warmth) -> AtTwoTemperatures:
    """A straight line through two resistances.

    Raises:
        MeasurementError: the temperatures are too near to each other.
    """
    rise_k = hot_at.temperature_c - cold_at.temperature_c
    if rise_k < LEAST_RISE_K:
        raise MeasurementError(
            f"the resistor is only {rise_k:.3g} K warmer; warm it by {LEAST_RISE_K:g} K at least, or leave it out"
        )
    cold_k, hot_k = cold_at.rise_k("temperature, cold"), hot_at.rise_k("temperature, warm")
    slope = (hot - cold) / (hot_k - cold_k)
    at_20_c = cold - slope * cold_k
    return AtTwoTemperatures(at_20_c, slope / at_20_c)


# -- probes and the clamp ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Seen:
    """What an oscilloscope's input showed of a steady signal, less what it showed of nothing on the same range.

    Attributes:
        volts: at the input.
        full_scale_v: of the range.
    """

    volts: UFloat
    full_scale_v: float


@dataclass(frozen=True)
class PlainLead:
    """The same input with a plain lead instead of the probe, on the same range: what the reference read, and what was
    seen. The oscilloscope's error of gain then drops out."""

    reference_v: float
    seen: Seen


class Probing:
    """The bench's oscilloscope beside a reference voltmeter. Their errors are the same in each reading."""

    def __init__(self, oscilloscope: Accuracy, voltmeter: Accuracy) -> None:
        self._oscilloscope = oscilloscope
        self._input = ErrorOf((oscilloscope,), zero_limit=0.0, of="oscilloscope")
        self._voltmeter = ErrorOf((voltmeter,), of="reference voltmeter")

    def probe_ratio(self, tip_v: float, seen: Seen, plain: PlainLead | None = None) -> UFloat:
        """Volts at the tip for a volt at the input."""
        return self._voltmeter.on(abs(tip_v)) / self._at_input(seen, plain)

    def sensitivity(self, current_a: float, ammeter: Accuracy, seen: Seen, plain: PlainLead | None = None) -> UFloat:
        """Of a clamp: volts at the input for an ampere through it."""
        return self._at_input(seen, plain) / ErrorOf((ammeter,), of="reference ammeter").on(abs(current_a))

    def _at_input(self, seen: Seen, plain: PlainLead | None) -> UFloat:
        """The true voltage at the input.

        Raises:
            MeasurementError: nothing is seen there, or the two readings are not at one place of the range.
        """
        volts, line = self._shown(seen, "with the probe"), self._off_line(seen)
        if plain is None:
            return self._input.on_difference(volts + line)
        by_lead = self._shown(plain.seen, "with the plain lead")
        apart = float(by_lead.nominal_value) / float(volts.nominal_value) - 1.0
        if abs(apart) > MOST_APART:
            raise MeasurementError(
                f"the plain lead's voltage is {100.0 * apart:+.2g} % from what the probe gave; bring it within "
                f"{100.0 * MOST_APART:g} %"
            )
        return (volts + line) * self._voltmeter.on(abs(plain.reference_v)) / (by_lead + line)

    def _off_line(self, seen: Seen) -> UFloat:
        """How far it may be off a straight line there: the same for two readings at nearly the same place."""
        return rectangular(0.0, self._oscilloscope.linearity * seen.full_scale_v, "oscilloscope: linearity")

    def _shown(self, seen: Seen, of: str) -> UFloat:
        """What was seen, with what is left of its zero."""
        limit_v = DRIFT * self._oscilloscope.zero_limit(seen.full_scale_v)
        shown_v = float(seen.volts.nominal_value)
        if not abs(shown_v) > limit_v:
            raise MeasurementError("the oscilloscope sees nothing there; look at the probe and at the reference")
        size = seen.volts if shown_v > 0.0 else -seen.volts
        return size + rectangular(0.0, limit_v, f"oscilloscope: zero {of}")
