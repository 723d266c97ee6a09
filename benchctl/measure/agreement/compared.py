"""The comparisons of each kind of analysis, from what the analysis itself is given: so they can be made again."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from benchctl.errors import MeasurementError
from benchctl.measure.agreement.bench_check import (
    cold_comparisons,
    look_path_comparisons,
    path_comparisons,
    warming_comparisons,
)
from benchctl.measure.agreement.comparison import Comparison
from benchctl.measure.agreement.load import load_comparisons, relay_comparisons
from benchctl.measure.agreement.outputs import output_comparisons, records_comparisons
from benchctl.measure.agreement.physics import heat_comparison, power_comparison
from benchctl.measure.agreement.supply import supply_comparisons
from benchctl.measure.agreement.warmth import warmth_comparisons
from benchctl.measure.analyses.context import BurstContext, ContinuousContext, IdleContext
from benchctl.measure.analyses.look_context import LookContext
from benchctl.measure.analyses.soak_figures import LAST, SoakContext, span_of
from benchctl.measure.analyses.supply_figures import output_power
from benchctl.measure.analyses.tone_figures import supply_power
from benchctl.measure.budget.meters import Meters, Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import Capture
from benchctl.measure.signal.supply import Span, whole_cycles, whole_repetitions

Captures = Mapping[str, Capture]
Compare = Callable[[Captures, Readings, Any], Iterator[Comparison]]

# A supply's reading follows a tone within two seconds, however slowly it averages (common practice); it is read every
# quarter of a second.
SETTLED_READINGS = 8


def comparisons(analysis: str, captures: Captures, readings: Readings, context: Any) -> list[Comparison]:
    """Every comparison that the captures and readings of this analysis allow; a record that gives none is left out."""
    found = list(records_comparisons(captures))
    compare = _COMPARED.get(analysis)
    if compare is None:
        return found
    made = compare(captures, readings, context)
    while True:
        try:
            found.append(next(made))
        except StopIteration:
            return found
        except MeasurementError:  # of a record that gives no figures either, and the step says why
            return found


def _idle(captures: Captures, readings: Readings, context: IdleContext) -> Iterator[Comparison]:
    capture = captures.get("idle")
    span = Span(0, 0 if capture is None else capture.samples)
    yield from supply_comparisons(capture, span, readings, context)


def _look(captures: Captures, readings: Readings, context: LookContext) -> Iterator[Comparison]:
    yield from output_comparisons(captures, context)
    yield from look_path_comparisons(captures, context)
    yield from _idle(captures, readings, context)


def _continuous(captures: Captures, readings: Readings, context: ContinuousContext) -> Iterator[Comparison]:
    capture = captures["continuous"]
    span = whole_cycles(capture, context.frequency_hz)
    yield from supply_comparisons(capture, span, _settled(readings), context, is_tone=True)
    signals = Signals(capture, context.accuracy, context.loads)
    meters = Meters(readings, context.readings_accuracy)
    yield from power_comparison(output_power(signals, span), supply_power(signals, meters, span, context))


def _settled(readings: Readings) -> Readings:
    """The readings of the supply once they are of the tone: none, where it was too short."""
    return {name: values if len(values) >= SETTLED_READINGS else () for name, values in readings.items()}


def _burst(captures: Captures, _readings: Readings, context: BurstContext) -> Iterator[Comparison]:
    """Over whole repetitions, as efficiency is; the supply's readings come and go with the bursts."""
    for capture in (captures[role] for role in ("clean", "full") if role in captures):
        span = whole_repetitions(capture, context.every_s)
        signals = Signals(capture, context.accuracy, context.loads)
        yield from power_comparison(output_power(signals, span), signals.supply_power(span))


def _soak(captures: Captures, readings: Readings, context: SoakContext) -> Iterator[Comparison]:
    yield from heat_comparison(captures, readings, context)
    if LAST not in captures:
        return
    capture = captures[LAST]
    span, signals = span_of(capture, context), Signals(capture, context.accuracy, context.loads)
    if context.every_s is None:
        yield from supply_comparisons(capture, span, readings, context, is_tone=True)
    yield from power_comparison(output_power(signals, span), signals.supply_power(span))


_COMPARED: Mapping[str, Compare] = {
    "look": _look,
    "idle": _idle,
    "continuous": _continuous,
    "burst": _burst,
    "soak": _soak,
    "check_cold": cold_comparisons,
    "check_warming": warming_comparisons,
    "check_paths": path_comparisons,
    "check_relays": relay_comparisons,
    "check_loads": load_comparisons,
    "check_warmth": warmth_comparisons,
}
