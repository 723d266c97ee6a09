"""The checks of a bench with itself: each a comparison of what was found with what a sound bench shows.

They are made on a cold bench, on an amplifier that idles, and under a tone of a fraction of a watt. What a check cannot
tell, as where a reading scatters more than the effect that it looks for, it leaves out: then there is no comparison.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from statistics import fmean

import numpy as np

from benchctl.measure.agreement.causes import cause_of_ratio
from benchctl.measure.agreement.comparison import Comparison, Sight
from benchctl.measure.agreement.outputs import GAIN_WITHIN
from benchctl.measure.agreement.reliance import (
    HEATSINK,
    INPUT_NOISE,
    OUTPUT_VOLTAGE,
    PATH,
    POLARITY,
    SUPPLY_CURRENT,
    TRIGGER,
    ZERO,
)
from benchctl.measure.agreement.supply import supply_comparisons
from benchctl.measure.agreement.warmth import MOVED, NOT_ON_IT
from benchctl.measure.analyses.bench_check_context import (
    ColdContext,
    PathsContext,
    WarmingCheckContext,
)
from benchctl.measure.analyses.look_context import LookContext
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
    yield Comparison(HEATSINK, "K", rose, makes, least, None, NOT_ON_IT)
    for name, rise_k in rises.items():
        if name != "heatsink":
            room = 0.5 * context.expected_k + 3.0 * scatter_k
            moved = Sight(f"the sensor '{name}' rose by", rise_k)
            yield Comparison(HEATSINK, "K", moved, Sight("nothing warms it", 0.0), -room, room, MOVED)


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
            yield from _polarities(together, context.frequency_hz, together.channels)
    for role, capture in captures.items():
        if len(driven := context.driven.get(role, ())) == 1 and len(capture.channels) > 1:
            yield from _answers(driven[0], capture, context.frequency_hz, context.gain * context.level_v)


def _gains(capture: Capture, context: PathsContext) -> Iterator[Comparison]:
    level = ErrorOf(context.level_accuracy).on(context.level_v)
    made_v, u_v = context.gain * context.level_v, COVERAGE_FACTOR * context.gain * float(level.std_dev)
    who = f"{render(context.level_v, 'V', digits=3)} of the generator times the gain of the amplifier file make"
    made = Sight(who, made_v, u_v)
    ratios = {channel: _tone(capture, channel, context.frequency_hz).rms / made_v for channel in capture.channels}
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


def look_path_comparisons(captures: Mapping[str, Capture], context: LookContext) -> Iterator[Comparison]:
    """The same from a look before power: each input that was driven alone, and which way round the outputs are."""
    made_v = (context.gain or 0.0) * (context.level_v or 0.0)
    for role, channel in context.alone.items():
        if role in captures and context.alone_hz is not None:
            yield from _answers(channel, captures[role], context.alone_hz, made_v)
    tones = [(captures[role], each_hz) for role, each_hz in context.tones_hz.items() if role in captures]
    for capture, frequency_hz in tones[-1:]:
        if len(context.driven) == 1 and len(capture.channels) > 1:
            yield from _answers(context.driven[0], capture, frequency_hz, made_v)
    for capture, frequency_hz in tones[:1]:
        passed = [name for name in context.upright if _tone(capture, name, frequency_hz).rms > made_v / GAIN_WITHIN]
        yield from _polarities(capture, frequency_hz, passed)


def _polarities(capture: Capture, frequency_hz: float, channels: Iterable[str]) -> Iterator[Comparison]:
    """The phase of each output against the generator's sync, at which its sine crosses zero upwards."""
    for channel in channels:
        tone = _tone(capture, channel, frequency_hz)
        if tone.rms < 3.0 * tone.residual_rms:
            continue  # there is no signal whose phase could be told
        turn = 2.0 * math.pi * frequency_hz
        lead = _wrapped(tone.phase_rad - turn * capture.start_s + 0.5 * math.pi)
        shown = Sight("it leads the generator by", lead)
        yield Comparison(
            POLARITY, "rad", shown, Sight("a sound path by", 0.0), -IN_PHASE_RAD, IN_PHASE_RAD, _INVERTED, channel
        )


def _answers(driven: str, capture: Capture, frequency_hz: float, made_v: float) -> Iterator[Comparison]:
    """With one input driven: its own output answers, and no other does."""
    seen_v = {channel: _tone(capture, channel, frequency_hz).rms for channel in capture.channels}
    own_v = seen_v.pop(driven, None)
    if own_v is None or not seen_v:
        return
    other, other_v = max(seen_v.items(), key=lambda each: each[1])
    is_swapped = own_v < LEAK * other_v
    first = Sight(f"with input {driven} alone driven, output {other} shows", other_v)
    second = Sight(f"output {driven}", own_v)
    room = LEAK * max(own_v, made_v / GAIN_WITHIN) - own_v
    yield Comparison(PATH, "V", first, second, None, room, _SWAPPED if is_swapped else _BOTH, driven)


def _tone(capture: Capture, channel: str, frequency_hz: float) -> SineFit:
    return fit_sine(capture.trace(OUTPUT + channel).values(), capture.interval_s, frequency_hz)


def _wrapped(angle: float) -> float:
    return math.remainder(angle, 2.0 * math.pi)
