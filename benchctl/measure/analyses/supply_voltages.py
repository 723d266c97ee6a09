"""The supply's voltage in two places, which are two figures: at the supply's own output, where it reads it, and at the
amplifier's terminals, behind the leads.

Nothing is claimed of the terminals that nothing measures there. Where the bench file says what the leads may have, the
voltage at the terminals is at least the reading less what the current loses on them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from uncertainties import UFloat

from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of
from benchctl.measure.budget.meters import Meters
from benchctl.measure.budget.signals import Signals
from benchctl.measure.rounding.alike import left_of_mean
from benchctl.measure.signal.record import SUPPLY_VOLTAGE
from benchctl.measure.signal.supply import Span
from benchctl.measure.uncertainty import COVERAGE_FACTOR, rectangular
from benchctl.quantity import render

AT_TERMINALS, AT_SUPPLY = "supply_voltage", "supply_output_voltage"
# The readings of a multimeter at the amplifier's terminals. Those of the supply are called supply_voltage, wherever it
# takes them.
TERMINALS = "terminal_voltage"
_OF_SUPPLY = "supply_voltage"


def with_read_voltages(figures: Sequence[Figure], meters: Meters, context: IdleContext) -> list[Figure]:
    """The figures, with what instruments other than the oscilloscope read of the supply's voltage.

    Of several that measure at the terminals, the surest is the figure.
    """
    elsewhere = [] if context.senses_terminals else meters.figures(AT_SUPPLY, _OF_SUPPLY, "V")
    captured = [figure for figure in figures if figure.name == AT_TERMINALS]
    known = [*captured, *(figure_of(AT_TERMINALS, value, "V") for value in _read_there(meters, context))]
    others = [figure for figure in figures if figure.name != AT_TERMINALS]
    if not known:
        return [*others, *_behind_leads(meters, context), *elsewhere]
    surest = min(known, key=lambda figure: figure.expanded_uncertainty or 0.0)
    if surest in captured:
        return [*figures, *elsewhere]
    return [*others, surest, *elsewhere]


def terminal_voltage(captured: UFloat | None, meters: Meters, context: IdleContext) -> UFloat | None:
    """The voltage at the amplifier's terminals by the surest instrument there; None where nothing measures it."""
    known = [value for value in (captured, *_read_there(meters, context)) if value is not None]
    return min(known, key=lambda value: float(value.std_dev)) if known else None


def settled_voltage(signals: Signals, span: Span) -> UFloat:
    """The mean at the amplifier's terminals, with what a coarse converter's steps may hide of it."""
    return signals.mean(SUPPLY_VOLTAGE, span) + hidden_by_steps((signals, span))


def hidden_by_steps(*means: tuple[Signals, Span]) -> UFloat:
    """Nothing, with what steps may hide of some means at the amplifier's terminals together: a given distance apart,
    means err the opposite way on every bench, or the same way on every bench."""
    hidden = 0.0
    for signals, span in means:
        trace = signals.capture.trace(SUPPLY_VOLTAGE)
        hidden += math.sqrt(3.0) * trace.step * left_of_mean(trace.steps(span.start, span.stop))
    return rectangular(0.0, hidden, "steps of the oscilloscope")


def _read_there(meters: Meters, context: IdleContext) -> list[UFloat]:
    sensed = meters.get(_OF_SUPPLY) if context.senses_terminals else None
    return [value for value in (meters.get(TERMINALS), sensed) if value is not None]


def _behind_leads(meters: Meters, context: IdleContext) -> list[Figure]:
    """That it is at least so high, where the bench file says what the leads may have and the supply's current is
    read."""
    read_v, read_a = meters.get(_OF_SUPPLY), meters.get("supply_current")
    if context.leads_ohm is None or read_v is None or read_a is None:
        return []
    left = read_v - read_a * context.leads_ohm
    least_v = float(left.nominal_value) - COVERAGE_FACTOR * float(left.std_dev)
    reason = (
        f"nothing measures at the amplifier's terminals; leads of {render(context.leads_ohm, 'ohm')} leave so much of "
        "the supply's own reading. Put a probe or sense leads there"
    )
    return [Figure(AT_TERMINALS, least_v, "V", bound="at least", bound_reason=reason)]
