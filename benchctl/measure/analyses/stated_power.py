"""Power at exactly one voltage at the amplifier's terminals, from clean powers at two supply voltages.

A straight line through both gives the power per volt, and the power at a voltage between them or a little beside. Of
rails that follow the supply, power goes with the square of the voltage; over half a volt of 14.4 V a straight line
between is off by less than a thousandth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import ContinuousContext
from benchctl.measure.analyses.supply_voltages import TERMINALS, settled_voltage
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.power import by_channel
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import SUPPLY_VOLTAGE, Capture
from benchctl.measure.signal.supply import Span, whole_cycles
from benchctl.measure.uncertainty import COVERAGE_FACTOR, ErrorOf, mean_of, measured
from benchctl.quantity import render

HIGHER, LOWER = "higher", "lower"
# So far beside the two voltages a straight line is trusted, in parts of what lies between them.
_BESIDE = 0.5


@dataclass(frozen=True, kw_only=True)
class StatedContext(ContinuousContext):
    """A clean tone at two supply voltages, to be stated at `voltage_v`; `level_us`: how well each of both levels is
    known, as a relative standard uncertainty, by the name of its record."""

    voltage_v: float
    level_us: Mapping[str, float]


def stated_power(captures: Mapping[str, Capture], readings: Readings, context: StatedContext) -> list[Figure]:
    """Captures "higher" and "lower", each at the clean level of its supply voltage; readings terminal_voltage_higher
    and _lower, or supply_voltage_higher and _lower of a supply that senses at the terminals.

    Gives stated_power and power_per_volt per channel and total.

    Raises:
        MeasurementError: a record is missing, nothing measures at the terminals, both voltages are as good as one, or
            the voltage lies too far beside them.
    """
    if not {HIGHER, LOWER} <= set(captures):
        raise MeasurementError("a stated power needs a record at each of two supply voltages")
    high, low = captures[HIGHER], captures[LOWER]
    at_high = Signals(high, context.accuracy, context.loads)
    at_low = at_high.at_another_time(low)
    spans = whole_cycles(high, context.frequency_hz), whole_cycles(low, context.frequency_hz)
    voltages = _voltages((at_high, at_low), spans, readings, context)
    part = _part(*voltages, context.voltage_v)
    stated, slopes = {}, {}
    for channel in at_high.channels:
        of_high = _power(at_high, spans[0], channel, context.level_us.get(HIGHER, 0.0))
        of_low = _power(at_low, spans[1], channel, context.level_us.get(LOWER, 0.0))
        stated[channel] = of_low + part * (of_high - of_low)
        slopes[channel] = (of_high - of_low) / (voltages[0] - voltages[1])
    is_every_load = at_high.has_every_load
    figures = _figures("stated_power", by_channel(stated, is_every_load=is_every_load), "W")
    figures += _figures("power_per_volt", by_channel(slopes, is_every_load=is_every_load), "W/V")
    return from_capture(figures, high.name, low.name)


def _figures(name: str, values: Mapping[str, UFloat], unit: str) -> list[Figure]:
    return [figure_of(name, value, unit, channel) for channel, value in values.items()]


def _power(signals: Signals, span: Span, channel: str, level_u: float) -> UFloat:
    """Power goes with the square of the level, as far as that is not known."""
    return signals.mean_power(channel, span) * (1.0 + measured(0.0, 2.0 * level_u))


def _part(high_v: UFloat, low_v: UFloat, voltage_v: float) -> UFloat:
    """How far the voltage lies from the lower of both to the higher one, in parts of what lies between them."""
    apart = high_v - low_v
    if apart.nominal_value <= 2.0 * COVERAGE_FACTOR * apart.std_dev:
        raise MeasurementError(
            f"the terminals had {render(high_v.nominal_value, 'V')} and {render(low_v.nominal_value, 'V')}, too near "
            "to each other for what measures there; give a larger 'higher_by'"
        )
    part = (voltage_v - low_v) / apart
    if not -_BESIDE <= part.nominal_value <= 1.0 + _BESIDE:
        raise MeasurementError(
            f"{render(voltage_v, 'V')} lies too far beside the voltages that the terminals had, "
            f"{render(low_v.nominal_value, 'V')} and {render(high_v.nominal_value, 'V')}; set the supply nearer to it, "
            "or give a larger 'higher_by'"
        )
    return part


def _voltages(
    signals: tuple[Signals, Signals], spans: tuple[Span, Span], readings: Readings, context: StatedContext
) -> tuple[UFloat, UFloat]:
    """Both by one and the same instrument, the surest."""
    found = []
    if all(each.has(SUPPLY_VOLTAGE) for each in signals):
        found.append(tuple(settled_voltage(each, span) for each, span in zip(signals, spans, strict=True)))
    for name in (TERMINALS, *(["supply_voltage"] if context.senses_terminals else [])):
        both = [readings.get(f"{name}_{role}", ()) for role in (HIGHER, LOWER)]
        if all(both):
            chain = ErrorOf(context.readings_accuracy.get(name, ()))
            found.append(tuple(chain.on(mean_of(values)) for values in both))
    if not found:
        raise MeasurementError("nothing measured the voltage at the amplifier's terminals")
    high, low = min(found, key=lambda pair: float(pair[0].std_dev))
    return high, low
