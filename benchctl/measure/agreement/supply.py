"""The supply's current and voltage, each by the supply's own reading and by the oscilloscope."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from uncertainties import UFloat

from benchctl.measure.agreement.comparison import Comparison, Sight
from benchctl.measure.agreement.reliance import SUPPLY_CURRENT as CURRENT
from benchctl.measure.agreement.reliance import SUPPLY_CURRENT_PEAK as CURRENT_PEAK
from benchctl.measure.agreement.reliance import SUPPLY_VOLTAGE as VOLTAGE
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import SUPPLY_CURRENT, SUPPLY_VOLTAGE, Capture
from benchctl.measure.signal.supply import Span, mean, swing
from benchctl.measure.uncertainty import COVERAGE_FACTOR, ErrorOf, exactly

# Who saw it, as the sights of a comparison say.
SUPPLY_READS = "the supply reads"
CLAMP_SHOWS = "the clamp shows"
TERMINALS_SHOW = "the oscilloscope, at the amplifier's terminals, shows"

# A reading and a record are not of the same instant, and what warms draws more or less: so much of the value.
NOT_AT_ONCE = 0.02
# A supply that averages over a second or two is still on its way when its readings are; what is left of the way is no
# more than so many times what the last three of them moved.
STILL_MOVING = 3.0
LAST_READINGS = 3
# Leads and connectors may take so much of the supply's voltage on its way to the amplifier (common practice: no more
# than a twentieth).
LEAD_DROP = 0.15
# The current of a steady sine peaks at no more than twice its mean: a class D stage without a reservoir draws as sine
# squared does, whose mean is half its peak. A quarter more for what a converter adds.
PEAK_OVER_MEAN = 2.5
# Parts of a record whose means tell whether the current is an even one.
_PARTS = 5

_CHECK_CURRENT = (
    "Check whether the supply has a second unit in parallel whose current it does not report, and the clamp's ratio, "
    "zero and direction"
)
_CHECK_SENSE = (
    "Check both sense leads, from the supply to the amplifier's terminals: without them the supply reads, and holds, "
    "its own terminals. Then check the ratio of the probe there"
)
_CHECK_VOLTAGE = "Check the ratio of the probe at the amplifier's supply terminals, and the supply leads"


@dataclass(frozen=True)
class Seen:
    """A mean by one instrument; `spread`: how far apart the values are that it is the mean of, so how even it is. A
    current that swings slowly is read by the supply anywhere in its swing, and by a rhythm always at the same place."""

    sight: Sight
    spread: float


def supply_comparisons(
    capture: Capture | None, span: Span, readings: Readings, context: IdleContext, *, is_tone: bool = False
) -> Iterator[Comparison]:
    """What the supply's last readings and the record tell of its current and voltage; each as far as there is any.

    `is_tone`: the record is of a steady tone, so that its peak current bounds and is bounded by the mean.
    """
    read_a = _read(readings.get("supply_current", ()), "supply_current", context, SUPPLY_READS)
    read_v = _read(readings.get("supply_voltage", ()), "supply_voltage", context, SUPPLY_READS)
    signals = None if capture is None else Signals(capture, context.accuracy)
    clamp_a = _recorded(signals, SUPPLY_CURRENT, span, CLAMP_SHOWS)
    probe_v = _recorded(signals, SUPPLY_VOLTAGE, span, TERMINALS_SHOW)
    zero_a = context.zero_allowance.get(SUPPLY_CURRENT, 0.0)
    yield from (_not_negative(seen, zero) for seen, zero in ((read_a, 0.0), (clamp_a, zero_a)) if seen is not None)
    if read_a is not None and clamp_a is not None:
        yield _current(read_a, clamp_a, zero_a)
    if read_v is not None and probe_v is not None:
        drop_v = _most_lost_v(read_v, read_a, context)
        yield _voltage(read_v, probe_v, drop_v, leads=not context.senses_terminals)
    mean_a = read_a or clamp_a
    if is_tone and signals is not None and clamp_a is not None and mean_a is not None:
        yield _peak(signals, span, mean_a, zero_a)


def _read(values: Sequence[float], name: str, context: IdleContext, who: str) -> Seen | None:
    """The mean of the last readings."""
    last = np.array([value for value in values if np.isfinite(value)][-LAST_READINGS:])
    if not last.size:
        return None
    value = ErrorOf(context.readings_accuracy.get(name, ())).on(exactly(float(last.mean())))
    return Seen(_sight(who, value), STILL_MOVING * float(np.ptp(last)))


def _recorded(signals: Signals | None, signal: str, span: Span, who: str) -> Seen | None:
    if signals is None or not signals.has(signal):
        return None
    trace = signals.capture.trace(signal)
    edges = np.linspace(span.start, span.stop, _PARTS + 1).astype(int)
    parts = [mean(trace, Span(start, stop)) for start, stop in pairwise(edges)]
    spread = max(float(np.ptp(parts)), swing(trace, span, signals.capture.interval_s))
    return Seen(_sight(who, signals.on(signal, mean(trace, span))), spread)


def _sight(who: str, value: UFloat) -> Sight:
    return Sight(who, float(value.nominal_value), COVERAGE_FACTOR * float(value.std_dev))


def _room(one: Seen, other: Seen) -> float:
    """How far apart two honest sights may be: both uncertainties, and that neither is of quite the same time."""
    larger = max(abs(one.sight.value), abs(other.sight.value))
    return one.sight.uncertainty + other.sight.uncertainty + one.spread + other.spread + NOT_AT_ONCE * larger


def _current(read: Seen, clamp: Seen, zero_a: float) -> Comparison:
    room = _room(read, clamp) + zero_a
    return Comparison(CURRENT, "A", read.sight, clamp.sight, -room, room, _CHECK_CURRENT)


def _most_lost_v(read: Seen, current: Seen | None, context: IdleContext) -> float:
    """What the leads may take of the supply's voltage: nothing of one that is sensed at the terminals, and by their
    resistance where the bench file states it."""
    if context.senses_terminals:
        return 0.0
    if context.leads_ohm is None or current is None:
        return LEAD_DROP * abs(read.sight.value)
    return context.leads_ohm * (abs(current.sight.value) + current.sight.uncertainty + current.spread)


def _voltage(read: Seen, probe: Seen, drop_v: float, *, leads: bool) -> Comparison:
    """The leads take a part of it, and add nothing."""
    room = _room(read, probe)
    check = _CHECK_VOLTAGE if leads else _CHECK_SENSE
    return Comparison(VOLTAGE, "V", read.sight, probe.sight, -room, room + drop_v, check)


def _not_negative(seen: Seen, zero_a: float) -> Comparison:
    """An amplifier gives nothing back to its supply."""
    room = seen.sight.uncertainty + seen.spread + zero_a
    check = "An amplifier gives no current back to its supply. Check which way round the clamp or the leads are"
    return Comparison(CURRENT, "A", seen.sight, Sight("nothing is below", 0.0), -room, None, check)


def _peak(signals: Signals, span: Span, mean_a: Seen, zero_a: float) -> Comparison:
    """The highest current is not below the mean, and of a steady sine not far above it."""
    _, highest = signals.extremes(SUPPLY_CURRENT, span)
    peak = _sight("the clamp's highest is", highest)
    room = peak.uncertainty + mean_a.sight.uncertainty + mean_a.spread + zero_a + NOT_AT_ONCE * abs(peak.value)
    most = room + (PEAK_OVER_MEAN - 1.0) * max(mean_a.sight.value, 0.0)
    second = Sight(f"the mean, which {mean_a.sight.who},", mean_a.sight.value, mean_a.sight.uncertainty)
    check = "The current of a steady tone peaks between its mean and twice that. " + _CHECK_CURRENT
    return Comparison(CURRENT_PEAK, "A", peak, second, -room, most, check)
