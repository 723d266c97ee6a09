"""Input impedance of each channel, from how far a known resistor in series with the input lowers the output.

With a series resistor R the output falls to r = Z / (Z + R), so Z = R r / (1 - r). Only the size of a resistive input
is told: an input of some hundred picofarads is resistive at audio frequencies.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from uncertainties import UFloat

from benchctl.errors import MeasurementError, SilentRecord
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.linearity import on_ratio
from benchctl.measure.budget.meters import Readings
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.signal.sine import fit_with_noise
from benchctl.measure.uncertainty import COVERAGE_FACTOR, Accuracy, ErrorOf, measured, rectangular

DIRECT, SERIES, DIRECT_AGAIN = "direct", "series", "direct again"
_RECORDS = (DIRECT, SERIES, DIRECT_AGAIN)


@dataclass(frozen=True, kw_only=True)
class InputImpedanceContext(IdleContext):
    """A sine of `frequency_hz`, directly and through `resistor_ohm`, which is within `resistor_accuracy` of it."""

    frequency_hz: float
    resistor_ohm: float
    resistor_accuracy: float


def input_impedance(
    captures: Mapping[str, Capture], _readings: Readings, context: InputImpedanceContext
) -> list[Figure]:
    """Captures "direct", "series" and "direct again" of all outputs.

    Gives input_impedance per channel; "at least" where the output does not fall by more than its uncertainty, and
    "at most" where nothing is left of it.

    Raises:
        SilentRecord: an output is silent without the resistor.
        MeasurementError: a record is missing, or the output rose with the resistor.
    """
    if not set(_RECORDS) <= set(captures):
        raise MeasurementError("input impedance needs a record without the resistor before and after the one with it")
    figures = [_of_channel(captures, channel, context) for channel in captures[SERIES].channels]
    return from_capture(figures, *(captures[role].name for role in _RECORDS))


def _of_channel(captures: Mapping[str, Capture], channel: str, context: InputImpedanceContext) -> Figure:
    signal = OUTPUT + channel
    first, series, second = (_rms_v(captures[role], signal, context.frequency_hz) for role in _RECORDS)
    direct = (first + second) / 2.0 + rectangular(0.0, abs(float((first - second).nominal_value)) / 2.0)
    if not direct.nominal_value > 3.0 * direct.std_dev:
        raise SilentRecord(f"output {channel} is silent at {context.frequency_hz:g} Hz")
    records = (captures[SERIES].trace(signal), captures[DIRECT].trace(signal))
    amplitudes = (math.sqrt(2.0) * float(series.nominal_value), math.sqrt(2.0) * float(direct.nominal_value))
    ratio = on_ratio(series / direct, amplitudes, records, context.accuracy.get(signal, ()))
    resistor = ErrorOf((Accuracy(reading=context.resistor_accuracy),)).on_difference(context.resistor_ohm)
    return _figure(ratio, resistor, channel)


def _figure(ratio: UFloat, resistor: UFloat, channel: str) -> Figure:
    value, expanded = float(ratio.nominal_value), COVERAGE_FACTOR * float(ratio.std_dev)
    highest_ohm = float(resistor.nominal_value + COVERAGE_FACTOR * resistor.std_dev)
    lowest_ohm = float(resistor.nominal_value - COVERAGE_FACTOR * resistor.std_dev)
    if value - expanded >= 1.0:
        raise MeasurementError(
            f"output {channel} rose when the resistor was put in, so something else changed; measure it again"
        )
    if value + expanded >= 1.0 or 1.0 - value < 2.0 * expanded:
        low = max(value - expanded, 0.0)
        reason = "the output hardly falls with this resistor; take a larger one"
        return _bound("at least", lowest_ohm * low / (1.0 - low), channel, reason)
    if value <= 2.0 * expanded:
        high = value + expanded
        reason = "hardly anything of the output is left with this resistor; take a smaller one"
        return _bound("at most", highest_ohm * high / (1.0 - high), channel, reason)
    return figure_of("input_impedance", resistor * ratio / (1.0 - ratio), "ohm", channel)


def _bound(bound: str, value_ohm: float, channel: str, reason: str) -> Figure:
    return Figure(
        "input_impedance",
        value_ohm,
        "ohm",
        channel=channel,
        bound="at least" if bound == "at least" else "at most",
        bound_reason=reason,
    )


def _rms_v(capture: Capture, signal: str, frequency_hz: float) -> UFloat:
    """With its noise; the chain's gain is the same for all records on one range, and cancels."""
    fit, noise = fit_with_noise(capture.trace(signal).values(), capture.interval_s, frequency_hz)
    return measured(fit.rms, noise / math.sqrt(2.0))
