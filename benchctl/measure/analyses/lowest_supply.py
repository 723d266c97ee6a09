"""Down to which supply voltage an amplifier plays, and from which one it plays again, each between two that were
tried."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.analyses.supply_voltages import TERMINALS, settled_voltage
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import SUPPLY_VOLTAGE, Capture
from benchctl.measure.signal.supply import at_rest
from benchctl.measure.uncertainty import COVERAGE_FACTOR, ErrorOf, mean_of, rectangular

# The records next to each change: on the way down it played and then was silent, on the way up it was silent and then
# played.
PLAYED, FELL_SILENT, STILL_SILENT, WOKE = "played", "fell silent", "still silent", "woke"


@dataclass(frozen=True, kw_only=True)
class LowestSupplyContext(IdleContext):
    """A supply voltage that was lowered in steps while the amplifier played, and raised again."""


def lowest_supply(captures: Mapping[str, Capture], readings: Readings, context: LowestSupplyContext) -> list[Figure]:
    """Captures "played" and "fell silent" of the way down, "still silent" and "woke" of the way up, as far as it came
    to that; readings supply_voltage and terminal_voltage with a space and the name of each record at the end.

    Gives lowest_playing_voltage, at most the lowest that was tried where it never fell silent, and
    lowest_waking_voltage: at the amplifier's terminals, or at the supply where nothing measures there.

    Raises:
        MeasurementError: there is no record of it playing.
    """
    if PLAYED not in captures:
        raise MeasurementError("the amplifier did not play at the voltage where the search began")
    if FELL_SILENT not in captures:
        lowest = _voltage(PLAYED, captures, readings, context)
        at_most_v = float(lowest.nominal_value) + COVERAGE_FACTOR * float(lowest.std_dev)
        reason = "it still played at the lowest voltage that was tried; give a lower 'to'"
        return [Figure("lowest_playing_voltage", at_most_v, "V", bound="at most", bound_reason=reason)]
    figures = [_between("lowest_playing_voltage", PLAYED, FELL_SILENT, captures, readings, context)]
    if WOKE in captures:
        figures.append(_between("lowest_waking_voltage", WOKE, STILL_SILENT, captures, readings, context))
    return figures


def _between(  # noqa: PLR0917 - two records, and what the others take
    name: str,
    playing: str,
    silent: str,
    captures: Mapping[str, Capture],
    readings: Readings,
    context: LowestSupplyContext,
) -> Figure:
    """Equally likely anywhere from the voltage where it was silent to the one where it played."""
    upper = _voltage(playing, captures, readings, context)
    lower = _voltage(silent, captures, readings, context)
    half_v = abs(float(upper.nominal_value) - float(lower.nominal_value)) / 2.0
    found = figure_of(name, upper + rectangular(-half_v, half_v), "V")
    return from_capture([found], captures[playing].name, captures[silent].name)[0]


def _voltage(role: str, captures: Mapping[str, Capture], readings: Readings, context: LowestSupplyContext) -> UFloat:
    """By the surest instrument at the terminals; by the supply's own reading where there is none."""
    capture, there = captures[role], []
    if SUPPLY_VOLTAGE in capture.traces:
        there.append(settled_voltage(Signals(capture, context.accuracy), at_rest(capture)))
    for name in (TERMINALS, *(["supply_voltage"] if context.senses_terminals else [])):
        if values := readings.get(f"{name} {role}"):
            there.append(ErrorOf(context.readings_accuracy.get(name, ())).on(mean_of(values)))
    if there:
        return min(there, key=lambda value: float(value.std_dev))
    chain = ErrorOf(context.readings_accuracy.get("supply_voltage", ()))
    return chain.on(mean_of(readings.get(f"supply_voltage {role}", ())))
