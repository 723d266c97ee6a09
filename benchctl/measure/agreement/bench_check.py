"""The checks of a bench with itself: each a comparison of what was found with what a sound bench shows.

They are made on a cold bench, on an amplifier that idles, and under a tone of a fraction of a watt. What a check cannot
tell, as where a reading scatters more than the effect that it looks for, it leaves out: then there is no comparison.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from statistics import fmean

import numpy as np

from benchctl.measure.agreement.causes import cause_of_ratio
from benchctl.measure.agreement.comparison import Comparison, Sight
from benchctl.measure.agreement.outputs import GAIN_WITHIN
from benchctl.measure.agreement.reliance import (
    HEATSINK,
    INPUT_NOISE,
    LOAD,
    OUTPUT_VOLTAGE,
    PATH,
    POLARITY,
    SUPPLY_CURRENT,
    TRIGGER,
    ZERO,
)
from benchctl.measure.agreement.supply import supply_comparisons
from benchctl.measure.analyses.bench_check_context import (
    ColdContext,
    PathsContext,
    RelayCheck,
    RelaysContext,
    WarmingCheckContext,
    open_reading,
    relay_reading,
)
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.budget.zero import stated_limit
from benchctl.measure.signal.record import OUTPUT, SUPPLY_VOLTAGE, Capture
from benchctl.measure.signal.record import SUPPLY_CURRENT as CLAMP
from benchctl.measure.signal.sine import SineFit, fit_sine
from benchctl.measure.signal.supply import Span
from benchctl.measure.uncertainty import COVERAGE_FACTOR, ErrorOf
from benchctl.quantity import render

# A workshop's air, and what stands in it (common practice). A heatsink may be warm from an earlier run.
COLDEST_C, WARMEST_C = 2.0, 45.0
STILL_WARM_C = 70.0
# Sensors that rest in the same air agree to so much beyond their accuracies (common practice).
SAME_AIR_K = 3.0
# An open or humming input shows more than this part of its range; a sound one a few steps of its converter.
QUIET_PART = 0.02
# So much of a signal may appear at an output whose input has none (common practice: 20 dB is a poor bench).
LEAK = 0.1
# Phase of a sound path at a tone in the middle of its band, with the filters of an amplifier: within this much of none.
IN_PHASE_RAD = 0.5 * math.pi
# A heatsink warms by a tenth at least of what its file lets expect (common practice: files are right to a half).
LEAST_WARMING = 0.1
# Resistors draw in proportion to their conductance; the amplifier's own losses shift that by less than this.
SAME_DRAW = 1.4

_ZERO = {
    CLAMP: "Most likely the clamp was not zeroed. Zero it with nothing in its jaws, and keep it away from other leads",
    SUPPLY_VOLTAGE: "Most likely something feeds the amplifier, or holds its supply up. Look at its supply leads",
}
_ZERO_OUTPUT = (
    "Most likely something feeds the output, or the channel's offset is not zero. Take the probe off: if the reading "
    "stays, it is the oscilloscope's"
)
_NOISE = (
    "Most likely its input is open or its earth is missing: a probe that is not plugged in, or a lead that picks up "
    "hum. Look at both ends of the probe"
)
_SENSOR = "Most likely the sensor is not connected as the bench file says, or of another kind. Look at its channel"
_NOT_ON_IT = (
    "Most likely this sensor is not on the heatsink: it fell off, or two sensors changed places. Look where it is"
)
_MOVED = "Most likely two sensors changed places. Look which one is on the heatsink"
_NO_TRIGGER = (
    "Most likely the lead from the generator's sync output is off, or on another input. Look at both ends, and at what "
    "'trigger' in the bench file says"
)
_INVERTED = (
    "Most likely the probe or the output's leads are the wrong way round. Some amplifiers invert a channel by design, "
    "for bridging: if this one does, its plate says so"
)
_SWAPPED = (
    "Most likely two inputs, two outputs or two probes changed places. Follow this channel's lead from the generator "
    "to the oscilloscope"
)
_BOTH = (
    "Most likely an input relay sticks, or a cable feeds both inputs. Look at what connects the generator to the inputs"
)
_OTHER_CHANNEL = (
    "Most likely this relay, or its resistor, is wired to another channel. Follow its lead from the relay to the output"
)
_NOTHING = "Most likely its resistor is open or not connected, or the relay does not close. Measure the resistor"
_OTHER_VALUE = "Most likely another resistor is behind this relay. Measure it"


# -- cold ----------------------------------------------------------------------------------------------------------


def cold_comparisons(captures: Mapping[str, Capture], readings: Readings, context: ColdContext) -> Iterator[Comparison]:
    """Capture "cold" of every signal on its finest range; readings of the supply current and of every sensor."""
    if (capture := captures.get("cold")) is not None:
        for name, trace in capture.traces.items():
            if name != SUPPLY_VOLTAGE:  # capacitors may hold it up for minutes
                yield from _quiet(name, capture, context, trace.full_scale)
    if currents := readings.get("supply_current"):
        yield _no_current(fmean(currents), context)
    sensors = {name: readings[name] for name in context.sensors if readings.get(name)}
    for name, values in sensors.items():
        yield _plausible(name, fmean(values), context)
    if (air := sensors.get(context.air)) is not None:
        for name, values in sensors.items():
            if name != context.air:
                yield _not_colder(name, fmean(values), fmean(air), context)


def _quiet(name: str, capture: Capture, context: ColdContext, full_scale: float) -> Iterator[Comparison]:
    trace = capture.traces[name]
    values, channel = trace.values(), name.removeprefix(OUTPUT) if name.startswith(OUTPUT) else ""
    limit = stated_limit(context.accuracy.get(name, ()), full_scale) + context.zero_allowance.get(name, 0.0)
    limit += trace.step
    shown, nothing = Sight(f"{name} shows", float(values.mean())), Sight("with nothing there", 0.0)
    yield Comparison(ZERO, trace.unit, shown, nothing, -limit, limit, _ZERO.get(name, _ZERO_OUTPUT), channel)
    noise = Sight(f"{name} shows noise of", float(values.std()))
    most = max(QUIET_PART * full_scale, 3.0 * trace.step)
    yield Comparison(INPUT_NOISE, trace.unit, noise, Sight("a quiet input", 0.0), None, most, _NOISE, channel)


def _no_current(current_a: float, context: ColdContext) -> Comparison:
    limit = stated_limit(context.readings_accuracy.get("supply_current", ()), 0.0) + 0.02
    shown = Sight("the supply, with its output off, reads", current_a)
    check = "Most likely its reading has an error of zero that the bench file does not state. Look at its data sheet"
    return Comparison(SUPPLY_CURRENT, "A", shown, Sight("nothing flows", 0.0), -limit, limit, check)


def _plausible(name: str, reads_c: float, context: ColdContext) -> Comparison:
    limit = stated_limit(context.readings_accuracy.get(name, ()), 0.0)
    middle_c, most_c = COLDEST_C, STILL_WARM_C if name != context.air else WARMEST_C
    shown = Sight(f"the sensor '{name}' reads", reads_c)
    least = Sight(f"nothing in a workshop is outside {COLDEST_C:g} to {most_c:g} degC", middle_c)
    return Comparison(HEATSINK, "degC", shown, least, -limit, most_c - COLDEST_C + limit, _SENSOR)


def _not_colder(name: str, reads_c: float, air_c: float, context: ColdContext) -> Comparison:
    limit = sum(stated_limit(context.readings_accuracy.get(each, ()), 0.0) for each in (name, context.air))
    shown = Sight(f"the sensor '{name}' reads", reads_c)
    return Comparison(
        HEATSINK, "degC", shown, Sight("the air around it has", air_c), -(limit + SAME_AIR_K), None, _SENSOR
    )


# -- at idle -------------------------------------------------------------------------------------------------------


def warming_comparisons(
    captures: Mapping[str, Capture], readings: Readings, context: WarmingCheckContext
) -> Iterator[Comparison]:
    """Capture "idle" of the supply; readings of the supply, and of every sensor from the first to the last."""
    capture = captures.get("idle")
    span = Span(0, 0 if capture is None else capture.samples)
    yield from supply_comparisons(capture, span, readings, context)
    rises = {name: _rise(readings[name]) for name in context.sensors if len(readings.get(name, ())) > 1}
    heatsink = rises.get("heatsink")
    if heatsink is None or not context.expected_k > 0.0:
        return
    scatter_k = _scatter(readings["heatsink"])
    if scatter_k > 0.25 * context.expected_k:
        return  # it could not be seen
    rose, makes = Sight("the sensor 'heatsink' rose by", heatsink), Sight("its idle heat makes", context.expected_k)
    least = (LEAST_WARMING - 1.0) * context.expected_k
    yield Comparison(HEATSINK, "K", rose, makes, least, None, _NOT_ON_IT)
    for name, rise_k in rises.items():
        if name != "heatsink":
            room = 0.5 * context.expected_k + 3.0 * scatter_k
            moved = Sight(f"the sensor '{name}' rose by", rise_k)
            yield Comparison(HEATSINK, "K", moved, Sight("nothing warms it", 0.0), -room, room, _MOVED)


def _rise(values: Sequence[float]) -> float:
    """From the mean of the first quarter to the mean of the last."""
    part = max(len(values) // 4, 1)
    return fmean(values[-part:]) - fmean(values[:part])


def _scatter(values: Sequence[float]) -> float:
    """Standard deviation about a straight line."""
    if len(values) < 4:
        return 0.0
    times = np.arange(len(values))
    return float(np.std(np.asarray(values) - np.polyval(np.polyfit(times, values, 1), times)))


# -- under a low tone ------------------------------------------------------------------------------------------------


def path_comparisons(
    captures: Mapping[str, Capture], _readings: Readings, context: PathsContext
) -> Iterator[Comparison]:
    """Capture "all" with every input driven, and one for each input that was driven alone: which output answers, how
    strongly, and which way round."""
    together = captures.get("all")
    if together is not None:
        yield from _gains(together, context)
        yield _trigger(context)
        if context.has_trigger:
            yield from _polarities(together, context)
    for role, capture in captures.items():
        if len(driven := context.driven.get(role, ())) == 1 and len(capture.channels) > 1:
            yield from _answers(driven[0], capture, context)


def _gains(capture: Capture, context: PathsContext) -> Iterator[Comparison]:
    level = ErrorOf(context.level_accuracy).on(context.level_v)
    made_v, u_v = context.gain * context.level_v, COVERAGE_FACTOR * context.gain * float(level.std_dev)
    who = f"{render(context.level_v, 'V', digits=3)} of the generator times the gain of the amplifier file make"
    made = Sight(who, made_v, u_v)
    ratios = {channel: _tone(capture, channel, context).rms / made_v for channel in capture.channels}
    for channel, ratio in ratios.items():
        shown_v = ratio * made_v
        signals = Signals(capture, context.accuracy)
        own = COVERAGE_FACTOR * float(signals.on_difference(OUTPUT + channel, shown_v).std_dev)
        room = own + u_v
        least, most = made_v / GAIN_WITHIN - made_v - room, made_v * GAIN_WITHIN - made_v + room
        others = [each for name, each in ratios.items() if name != channel]
        check = cause_of_ratio(ratio, context.ratios.get(channel, 1.0), others)
        seen = Sight("the oscilloscope shows", shown_v, own)
        yield Comparison(OUTPUT_VOLTAGE, "V", seen, made, least, most, check, channel)


def _trigger(context: PathsContext) -> Comparison:
    shown = Sight("triggers that came while a tone was on", float(context.has_trigger))
    return Comparison(TRIGGER, "", shown, Sight("needed", 1.0), 0.0, None, _NO_TRIGGER)


def _polarities(capture: Capture, context: PathsContext) -> Iterator[Comparison]:
    """The phase of each output against the generator's sync, at which its sine crosses zero upwards."""
    for channel in capture.channels:
        tone = _tone(capture, channel, context)
        if tone.rms < 3.0 * tone.residual_rms:
            continue  # there is no signal whose phase could be told
        turn = 2.0 * math.pi * context.frequency_hz
        lead = _wrapped(tone.phase_rad - turn * capture.start_s + 0.5 * math.pi)
        shown = Sight("it leads the generator by", lead)
        yield Comparison(
            POLARITY, "rad", shown, Sight("a sound path by", 0.0), -IN_PHASE_RAD, IN_PHASE_RAD, _INVERTED, channel
        )


def _answers(driven: str, capture: Capture, context: PathsContext) -> Iterator[Comparison]:
    """With one input driven: its own output answers, and no other does."""
    seen_v = {channel: _tone(capture, channel, context).rms for channel in capture.channels}
    own_v = seen_v.pop(driven, None)
    if own_v is None or not seen_v:
        return
    other, other_v = max(seen_v.items(), key=lambda each: each[1])
    is_swapped = own_v < LEAK * other_v
    first = Sight(f"with input {driven} alone driven, output {other} shows", other_v)
    second = Sight(f"output {driven}", own_v)
    made_v = context.gain * context.level_v
    room = LEAK * max(own_v, made_v / GAIN_WITHIN) - own_v
    yield Comparison(PATH, "V", first, second, None, room, _SWAPPED if is_swapped else _BOTH, driven)


def _tone(capture: Capture, channel: str, context: PathsContext) -> SineFit:
    return fit_sine(capture.trace(OUTPUT + channel).values(), capture.interval_s, context.frequency_hz)


def _wrapped(angle: float) -> float:
    return math.remainder(angle, 2.0 * math.pi)


# -- the relays of the load --------------------------------------------------------------------------------------------


def relay_comparisons(
    _captures: Mapping[str, Capture], readings: Readings, context: RelaysContext
) -> Iterator[Comparison]:
    """What each relay of the load adds to the supply current, while its channel is driven and while another is.

    A load takes at least the power that it turns into heat, from a supply whose current is read.
    """
    added = {relay: _added(relay, relay.channel, readings, context) for relay in context.relays}
    for relay, (adds_a, scatter_a) in ((key, value) for key, value in added.items() if value is not None):
        least_a = context.output_v**2 / relay.nominal_ohm / context.supply_v
        if scatter_a > 0.2 * least_a:
            continue  # too little to be seen
        yield from _loads_its_channel(relay, adds_a, 0.5 * least_a, readings, context)
    yield from _values(added)


def _added(relay: RelayCheck, channel: str, readings: Readings, context: RelaysContext) -> tuple[float, float] | None:
    """The current that a relay adds while a channel is driven, and its scatter, A; None where it was not read."""
    driven = channel if context.each_alone else ""
    closed, opened = readings.get(relay_reading(relay.relay, driven)), readings.get(open_reading(driven))
    if not closed or not opened:
        return None
    scatter = math.hypot(np.std(closed) / math.sqrt(len(closed)), np.std(opened) / math.sqrt(len(opened)))
    return fmean(closed) - fmean(opened), float(scatter)


def _loads_its_channel(
    relay: RelayCheck, adds_a: float, least_a: float, readings: Readings, context: RelaysContext
) -> Iterator[Comparison]:
    others = [name for name in dict.fromkeys(each.channel for each in context.relays) if name != relay.channel]
    elsewhere = [
        (name, found[0])
        for name in others
        if context.each_alone and (found := _added(relay, name, readings, context)) is not None
    ]
    there = next((name for name, other_a in elsewhere if other_a > max(least_a, 2.0 * adds_a)), "")
    shown = Sight(f"relay {relay.relay}, with input {relay.channel} driven, adds", adds_a)
    if there:
        elsewhere_a = Sight(f"with input {there} driven", dict(elsewhere)[there])
        yield Comparison(LOAD, "A", shown, elsewhere_a, 0.0, None, _OTHER_CHANNEL, relay.channel)
        return
    expected = Sight(f"{render(relay.nominal_ohm, 'ohm')} there should add at least", 2.0 * least_a)
    yield Comparison(LOAD, "A", shown, expected, -least_a, None, _NOTHING, relay.channel)


def _values(added: Mapping[RelayCheck, tuple[float, float] | None]) -> Iterator[Comparison]:
    """Of one channel's resistors, what each adds is in proportion to its conductance."""
    for channel in dict.fromkeys(relay.channel for relay in added):
        seen = {relay: found for relay, found in added.items() if found is not None and relay.channel == channel}
        sound = {relay: found for relay, found in seen.items() if found[0] > 5.0 * found[1]}
        if len(sound) < 2:
            continue
        first, *rest = sorted(sound, key=lambda relay: -relay.nominal_ohm)
        for relay in rest:
            expected_a = sound[first][0] * first.nominal_ohm / relay.nominal_ohm
            shown = Sight(f"relay {relay.relay} adds", sound[relay][0])
            said = f"{render(relay.nominal_ohm, 'ohm')} there should add, by what relay {first.relay} adds,"
            room = 3.0 * math.hypot(sound[relay][1], sound[first][1] * first.nominal_ohm / relay.nominal_ohm)
            least, most = expected_a / SAME_DRAW - expected_a - room, expected_a * SAME_DRAW - expected_a + room
            yield Comparison(LOAD, "A", shown, Sight(said, expected_a), least, most, _OTHER_VALUE, channel)
