"""How much lower the voltage at the amplifier's terminals is under a drive than at rest, by one instrument.

So its error of gain counts for the difference only, and its error of zero not at all where the range is the same. What
a coarse converter's steps may hide of either mean counts in full, and the other way: without noise, both may err by
half a step.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.analyses.supply_voltages import TERMINALS, hidden_by_steps
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import SUPPLY_VOLTAGE, Capture
from benchctl.measure.signal.supply import Span, at_rest
from benchctl.measure.uncertainty import ErrorOf, mean_of

REST = "rest"  # the record of the terminals before the drive
AT_REST = "_at_rest"  # what a reading of before the drive has at the end of its name
_LAST_READINGS = 3  # those of a supply that averages have come to rest by then


def static_sag(
    driven: Capture, span: Span, captures: Mapping[str, Capture], readings: Readings, context: IdleContext
) -> list[Figure]:
    """The figure static_sag by the surest instrument at the terminals; none where nothing measured there at rest."""
    found = [*_by_record(driven, span, captures.get(REST), context), *_by_readings(readings, context)]
    return [min(found, key=lambda figure: figure.expanded_uncertainty or 0.0)] if found else []


def _by_record(driven: Capture, span: Span, rest: Capture | None, context: IdleContext) -> Iterator[Figure]:
    if rest is None or SUPPLY_VOLTAGE not in rest.traces or SUPPLY_VOLTAGE not in driven.traces:
        return
    after = Signals(driven, context.accuracy)
    before, whole = after.at_another_time(rest), at_rest(rest)
    difference = before.mean(SUPPLY_VOLTAGE, whole) - after.mean(SUPPLY_VOLTAGE, span)
    difference += hidden_by_steps((before, whole), (after, span))
    yield from from_capture([figure_of("static_sag", difference, "V")], rest.name, driven.name)


def _by_readings(readings: Readings, context: IdleContext) -> Iterator[Figure]:
    names = [TERMINALS, *(["supply_voltage"] if context.senses_terminals else [])]
    for name in names:
        before, after = readings.get(name + AT_REST, ()), _last(readings.get(name, ()))
        if before and after:
            chain = ErrorOf(context.readings_accuracy.get(name, ()))
            yield figure_of("static_sag", chain.on_difference(mean_of(before) - mean_of(after)), "V")


def _last(values: Sequence[float]) -> Sequence[float]:
    return values[-_LAST_READINGS:]
