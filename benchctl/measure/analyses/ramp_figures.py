"""Figures of a first power-up: how far the voltage came, what flowed, and the dc at the outputs then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.resolution import rounding_of
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.signal.supply import at_rest
from benchctl.measure.uncertainty import Accuracies, ErrorOf, means_pooled


@dataclass(frozen=True, kw_only=True)
class RampContext(IdleContext):
    """A supply voltage that rose in steps, with so many readings taken together; `is_complete`: no reason came up to
    stop on the way."""

    is_complete: bool
    readings_together: int = 1


def ramp(captures: Mapping[str, Capture], readings: Readings, context: RampContext) -> list[Figure]:
    """Capture "outputs", taken last; readings supply_voltage, supply_current and supply_current_before, the context's
    number of each for every step of the voltage: at its end, and when it had just been reached.

    Gives ramp_voltage (the last one), ramp_current (the highest at the end of a step), idle_current_rise (the most that
    the current rose at constant voltage), dc_offset per channel, and, if the ramp is complete, idle_current.

    Raises:
        MeasurementError: the supply was never read.
    """
    together = context.readings_together
    of_voltage = context.readings_accuracy.get("supply_voltage", ())
    of_current = context.readings_accuracy.get("supply_current", ())
    voltages = _means(_groups(readings, "supply_voltage", together), of_voltage)
    ends, beginnings = (_groups(readings, name, together) for name in ("supply_current", "supply_current_before"))
    every_current = _means([*ends, *beginnings], of_current)
    currents, before = every_current[: len(ends)], every_current[len(ends) :]
    if not voltages or not len(voltages) == len(currents) == len(before):
        raise MeasurementError("the supply was not read at each step of its voltage")
    voltage_chain, chain = ErrorOf(of_voltage), ErrorOf(of_current)
    rises = [chain.on(last) - chain.on(first) for first, last in zip(before, currents, strict=True)]
    figures = [
        figure_of("ramp_voltage", voltage_chain.on(voltages[-1]), "V"),
        figure_of("ramp_current", chain.on(max(currents, key=_nominal)), "A"),
        figure_of("idle_current_rise", max(rises, key=_nominal), "A"),
    ]
    if context.is_complete:
        figures.append(figure_of("idle_current", chain.on(currents[-1]), "A"))
    return figures + _offsets(captures, context)


def _groups(readings: Readings, name: str, together: int) -> list[Sequence[float]]:
    """Readings that were taken together."""
    values = readings.get(name, ())
    return [values[start : start + together] for start in range(0, len(values), together)]


def _means(groups: Sequence[Sequence[float]], accuracies: Accuracies) -> list[UFloat]:
    """Of each group, with the scatter of the meter, which is the same at each step, and its rounding."""
    means = zip(means_pooled(groups), groups, strict=True)
    return [mean + rounding_of(group, accuracies) for mean, group in means]


def _nominal(value: UFloat) -> float:
    return float(value.nominal_value)


def _offsets(captures: Mapping[str, Capture], context: RampContext) -> list[Figure]:
    if "outputs" not in captures:
        return []
    capture = captures["outputs"]
    signals, whole = Signals(capture, context.accuracy), at_rest(capture)
    offsets = [
        figure_of("dc_offset", signals.mean(OUTPUT + channel, whole), "V", channel) for channel in capture.channels
    ]
    return from_capture(offsets, capture.name)
