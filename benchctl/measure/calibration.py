"""What a workshop measures of its own load resistors, probes, clamp and leads, with uncertainty (JCGM 100:2008)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.freedom import expanded
from benchctl.measure.uncertainty import Accuracy, ErrorOf, exactly, mean_of, rectangular

REFERENCE_C = 20.0
"""Resistances are stated at this temperature."""

THERMAL_EMF_V = 10e-6
"""The most that joints of unlike metals give where one is warmer than the other by some degrees (common practice: some
microvolts a kelvin). It cancels where the current is reversed."""

LEAST_RISE_K = 20.0
"""Two temperatures nearer to each other say little of a temperature coefficient."""

READINGS = 10
"""Enough that their scatter is known to a quarter (JCGM 100, table E.1)."""

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
    """A measured value with its relative expanded uncertainty, k = 2 or what Student's t asks for."""

    value: float
    relative_uncertainty: float


def stated(value: UFloat) -> Stated:
    """As a calibration file has it. The uncertainty has two digits and is rounded up.

    Raises:
        MeasurementError: the value is not above zero, or is uncertain by half and more.
    """
    nominal, (uncertainty, _) = float(value.nominal_value), expanded(value)
    if not nominal > 0.0:
        raise MeasurementError(f"it came out as {nominal:.4g}, which is not above zero; look at the readings and signs")
    relative = uncertainty / nominal
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
