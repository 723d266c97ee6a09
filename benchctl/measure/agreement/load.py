"""The load's resistors against what they draw: a resistor takes at least the power that it turns into heat, from a
supply whose current is read; and of two resistors the lower one takes more.

A class AB stage takes more than that at a low level, and as long as its bias carries the whole current it takes nothing
more than at idle. So how much more is told only by comparison, and only where the current is larger than that.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from decimal import Decimal
from statistics import fmean

import numpy as np

from benchctl.measure.agreement.comparison import Comparison, Sight
from benchctl.measure.agreement.reliance import LOAD
from benchctl.measure.analyses.bench_check_context import (
    LoadsContext,
    RelayCheck,
    RelaysContext,
    driven_reading,
    open_reading,
    relay_reading,
    undriven_reading,
)
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.meters import Readings
from benchctl.measure.signal.record import Capture
from benchctl.quantity import render

# What resistors draw goes with their conductance, and in a stage that is biased with at most its square; the
# amplifier's own losses shift that by less than this.
SAME_DRAW = 1.4
# Part of the least that a resistor may draw which must be there.
_THERE = 0.5
# A draw that is less certain than this part of the least is not told.
_TOLD_WITHIN = 0.2
# Of two draws that are compared each is so many times its doubt.
_COMPARED_FROM = 5.0

_OTHER_CHANNEL = (
    "Most likely this relay, or its resistor, is wired to another channel. Follow its lead from the relay to the output"
)
_NOTHING = "Most likely its resistor is open or not connected, or the relay does not close. Measure the resistor"
_OTHER_VALUE = "Most likely another resistor is behind this relay. Measure it"
_NOT_THERE = "Most likely a load is not connected, or open. Look at the leads, and measure the resistors"
_OTHER_LOAD = (
    "Most likely one of the loads is not what was asked for, or a load is missing at an output. Measure the resistors"
)

# What one load adds beside what it should by what another one adds, as the sights of a comparison say it.
ADDS, BY_WHAT = " adds", "should add, by what "

_Added = tuple[float, float]
"""What was added to the supply current, and how far that may be off, A"""


# -- relay by relay ------------------------------------------------------------------------------------------------


def relay_comparisons(
    _captures: Mapping[str, Capture], readings: Readings, context: RelaysContext
) -> Iterator[Comparison]:
    """What each relay of the load adds to the supply current, while its channel is driven and while another is."""
    added = {relay: _added_by(relay, relay.channel, readings, context) for relay in context.relays}
    for relay, (adds_a, doubt_a) in ((key, value) for key, value in added.items() if value is not None):
        least_a = _least_a(relay, context)
        if doubt_a > _TOLD_WITHIN * least_a:
            continue  # too little to be seen
        yield from _loads_its_channel(relay, adds_a, least_a, readings, context)
    yield from _values(added)


def _least_a(relay: RelayCheck, context: RelaysContext) -> float:
    output_v = context.outputs_v.get(relay.channel, context.output_v)
    return output_v**2 / relay.nominal_ohm / context.supply_v


def _added_by(relay: RelayCheck, channel: str, readings: Readings, context: RelaysContext) -> _Added | None:
    """What a relay adds while a channel is driven; None where it was not read."""
    driven = channel if context.each_alone else ""
    return _added(readings.get(relay_reading(relay.relay, driven)), readings.get(open_reading(driven)), context)


def _added(closed: Sequence[float] | None, opened: Sequence[float] | None, context: IdleContext) -> _Added | None:
    """The difference of both means. It may be off by what the readings scatter, and by a step of the display."""
    if not closed or not opened:
        return None
    scatter_a = math.hypot(np.std(closed) / math.sqrt(len(closed)), np.std(opened) / math.sqrt(len(opened)))
    return fmean(closed) - fmean(opened), float(scatter_a) + _step_a([*closed, *opened], context)


def _step_a(values: Sequence[float], context: IdleContext) -> float:
    """The step in which the supply shows its current: as the bench file says, or by the digits that it shows."""
    stated_a = max((each.resolution for each in context.readings_accuracy.get("supply_current", ())), default=0.0)
    return stated_a or min(_last_digit(value) for value in values)


def _last_digit(value: float) -> float:
    exponent = Decimal(repr(value)).as_tuple().exponent
    return float(10.0**exponent) if isinstance(exponent, int) else 0.0


def _loads_its_channel(
    relay: RelayCheck, adds_a: float, least_a: float, readings: Readings, context: RelaysContext
) -> Iterator[Comparison]:
    others = [name for name in dict.fromkeys(each.channel for each in context.relays) if name != relay.channel]
    elsewhere = [
        (name, found[0])
        for name in others
        if context.each_alone and (found := _added_by(relay, name, readings, context)) is not None
    ]
    most_a = max(_THERE * least_a, 2.0 * adds_a)
    there = next((name for name, other_a in elsewhere if other_a > most_a), "")
    shown = Sight(f"relay {relay.relay}, with input {relay.channel} driven, adds", adds_a)
    if there:
        elsewhere_a = Sight(f"with input {there} driven", dict(elsewhere)[there])
        yield Comparison(LOAD, "A", shown, elsewhere_a, 0.0, None, _OTHER_CHANNEL, relay.channel)
        return
    expected = Sight(f"{render(relay.nominal_ohm, 'ohm')} there should add at least", least_a)
    yield Comparison(LOAD, "A", shown, expected, -_THERE * least_a, None, _NOTHING, relay.channel)


def _values(added: Mapping[RelayCheck, _Added | None]) -> Iterator[Comparison]:
    """Of one channel's resistors, what each adds goes with its conductance."""
    for channel in dict.fromkeys(relay.channel for relay in added):
        seen = {relay: found for relay, found in added.items() if found is not None and relay.channel == channel}
        sound = {relay: found for relay, found in seen.items() if found[0] > _COMPARED_FROM * found[1]}
        if len(sound) < 2:
            continue
        first, *rest = sorted(sound, key=lambda relay: -relay.nominal_ohm)
        for relay in rest:
            ratio = first.nominal_ohm / relay.nominal_ohm
            shown = Sight(f"relay {relay.relay}{ADDS}", sound[relay][0])
            said = f"{render(relay.nominal_ohm, 'ohm')} there {BY_WHAT}relay {first.relay}{ADDS},"
            should, least_a, most_a = _in_proportion(said, sound[relay], sound[first], ratio)
            yield Comparison(LOAD, "A", shown, should, least_a, most_a, _OTHER_VALUE, channel)


def _in_proportion(said: str, adds: _Added, first: _Added, ratio: float) -> tuple[Sight, float, float]:
    """What a lower resistor should add, by what one of so many times its resistance adds, and how far it may differ."""
    expected_a = first[0] * ratio
    room = 3.0 * math.hypot(adds[1], first[1] * ratio)
    least_a, most_a = expected_a / SAME_DRAW - expected_a - room, expected_a * ratio * SAME_DRAW - expected_a + room
    return Sight(said, expected_a), least_a, most_a


# -- all outputs together --------------------------------------------------------------------------------------------


def load_comparisons(
    _captures: Mapping[str, Capture], readings: Readings, context: LoadsContext
) -> Iterator[Comparison]:
    """What each load adds to the supply current, against what it must, and against the other loads at the same
    outputs."""
    told: dict[str, _Added] = {}
    for name, load_ohm in context.loads_ohm.items():
        found = _added(readings.get(driven_reading(name)), readings.get(undriven_reading(name)), context)
        least_a = sum(v**2 for v in context.outputs_v[name].values()) / load_ohm / context.supply_v
        if found is None or found[1] > _TOLD_WITHIN * least_a:
            continue
        told[name] = found
        shown = Sight(f"{name}, under the tone, adds", found[0])
        should = Sight("it should add at least", least_a)
        yield Comparison(LOAD, "A", shown, should, -_THERE * least_a, None, _NOT_THERE, _only(context.outputs_v[name]))
    for channels in dict.fromkeys(tuple(context.outputs_v[name]) for name in told):
        alike = {name: found for name, found in told.items() if tuple(context.outputs_v[name]) == channels}
        yield from _by_load(alike, context, _only(channels))


def _only(channels: Collection[str]) -> str:
    """The channel, if it is one."""
    return next(iter(channels)) if len(channels) == 1 else ""


def _by_load(told: Mapping[str, _Added], context: LoadsContext, channel: str) -> Iterator[Comparison]:
    sound = {name: found for name, found in told.items() if found[0] > _COMPARED_FROM * found[1]}
    first, *rest = sorted(sound, key=lambda name: -context.loads_ohm[name]) or [""]
    for name in rest:
        ratio = context.loads_ohm[first] / context.loads_ohm[name]
        said = f"it {BY_WHAT}{first}{ADDS},"
        should, least_a, most_a = _in_proportion(said, told[name], told[first], ratio)
        yield Comparison(
            LOAD, "A", Sight(f"{name}{ADDS}", told[name][0]), should, least_a, most_a, _OTHER_LOAD, channel
        )
