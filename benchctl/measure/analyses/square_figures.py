"""Rise time, slew rate, overshoot and tilt of each output under a square wave, from raw records at two levels.

A bandwidth makes the same rise time at both levels, and a slew rate the same volts a second (IEC 60268-3 measures it at
full drive; from memory). So the rise time is that of the small level, and the slew rate has a value only where the edge
at the large level takes longer: else it is "at least" what was seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.shapes.square import SquareWave, square_wave
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.uncertainty import COVERAGE_FACTOR, measured, rectangular

SMALL, LARGE, CAPACITIVE = "small", "large", "capacitor"
# Fewer samples than this in an edge show no more than that it is short.
_FEWEST_IN_EDGE = 3.0
# A correction by more than this part of what was seen is none: only "at most" is known.
_MOST_OWN = 0.5
# Data sheets give bandwidths and rise times within so much (common practice: as typical values).
_OWN_ACCURACY = 0.2
# Of a single pole: rise time times its bandwidth, ln 9 / 2 pi.
RISE_TIMES_BANDWIDTH = math.log(9.0) / (2.0 * math.pi)


@dataclass(frozen=True, kw_only=True)
class SquareContext(IdleContext):
    """A square wave at each of `waves_hz` (role of the capture -> Hz), the roles beginning with "small", "large" or
    "capacitor". `own_rise_s`: signal -> the rise time that generator, oscilloscope and probe have by themselves; a
    signal that is missing: nobody knows it. `unknown`: what the bench file would have to say."""

    waves_hz: Mapping[str, float]
    own_rise_s: Mapping[str, float] = field(default_factory=dict)
    unknown: str = ""


def role_of(kind: str, frequency_hz: float) -> str:
    """The role of a record."""
    return f"{kind} {frequency_hz:.6g} Hz"


def square(captures: Mapping[str, Capture], _readings: Readings, context: SquareContext) -> list[Figure]:
    """Captures "small F" and "large F" of all outputs, F as in "1000 Hz", and "capacitor F" where one was connected.

    Gives rise_time, slew_rate, overshoot and tilt per channel and frequency; overshoot_with_capacitor, and
    ringing_frequency where it rings.

    Raises:
        MeasurementError: a record is missing, or shows no square wave.
    """
    if not set(context.waves_hz) <= set(captures):
        raise MeasurementError("a record of the square wave is missing")
    return [
        replace(figure, frequency_hz=frequency_hz)
        for frequency_hz in dict.fromkeys(context.waves_hz.values())
        for figure in _at(captures, frequency_hz, context)
    ]


def _at(captures: Mapping[str, Capture], frequency_hz: float, context: SquareContext) -> Iterator[Figure]:
    small, large = captures[role_of(SMALL, frequency_hz)], captures[role_of(LARGE, frequency_hz)]
    capacitive = captures.get(role_of(CAPACITIVE, frequency_hz))
    for channel in large.channels:
        seen = {kind: _wave(capture, channel, frequency_hz) for kind, capture in ((SMALL, small), (LARGE, large))}
        rise = _rise_time(seen[SMALL], OUTPUT + channel, context)
        yield replace(rise, channel=channel, capture=small.name)
        slew = _slew_rate(seen[SMALL], seen[LARGE], Signals(large, context.accuracy), OUTPUT + channel)
        yield replace(slew, channel=channel, capture=f"{small.name} {large.name}")
        yield replace(_overshoot("overshoot", seen[LARGE]), channel=channel, capture=large.name)
        yield replace(_tilt(seen[LARGE]), channel=channel, capture=large.name)
        if capacitive is not None:
            for figure in _with_capacitor(_wave(capacitive, channel, frequency_hz)):
                yield replace(figure, channel=channel, capture=capacitive.name)


def _wave(capture: Capture, channel: str, frequency_hz: float) -> SquareWave:
    trace = capture.trace(OUTPUT + channel)
    return square_wave(trace.values(), capture.interval_s, frequency_hz, trace.step)


def seen_rise(wave: SquareWave) -> UFloat:
    """The slower edge as it was seen, in s: scatter, noise, and both its ends within a sample."""
    edge = wave.slowest
    own = math.hypot(wave.scatter_s, edge.noise_s)
    sampling = math.sqrt(2.0) * float(rectangular(0.0, wave.interval_s / 2.0).std_dev)
    return measured(edge.rise_s, math.hypot(own, sampling))


def without_own(seen: UFloat, own_s: float) -> UFloat | None:
    """sqrt(seen^2 - own^2): rise times add in squares (exact for Gaussian edges, within 1 % for one pole); None where
    the instruments' own is so large a part that the rest is a guess."""
    if own_s > _MOST_OWN * float(seen.nominal_value):
        return None
    own = rectangular(own_s, _OWN_ACCURACY * own_s)
    return (seen**2 - own**2) ** 0.5


def _longest_s(wave: SquareWave) -> float:
    """The rise time is not longer than this."""
    seen = seen_rise(wave)
    if _is_short(wave):
        return wave.slowest.rise_s + wave.interval_s
    return float(seen.nominal_value + COVERAGE_FACTOR * seen.std_dev)


def _is_short(wave: SquareWave) -> bool:
    return wave.slowest.rise_s < _FEWEST_IN_EDGE * wave.interval_s


def _rise_time(wave: SquareWave, signal: str, context: SquareContext) -> Figure:
    highest = _longest_s(wave)
    if _is_short(wave):
        return _bound("rise_time", highest, "s", "at most", "the edge has too few samples; record it faster")
    own_s = context.own_rise_s.get(signal)
    if own_s is None:
        return _bound("rise_time", highest, "s", "at most", f"the instruments' own is unknown; {context.unknown}")
    alone = without_own(seen_rise(wave), own_s)
    if alone is None:
        return _bound("rise_time", highest, "s", "at most", "much of it is the instruments' own; use faster ones")
    return figure_of("rise_time", alone, "s")


def _slew_rate(small: SquareWave, large: SquareWave, signals: Signals, signal: str) -> Figure:
    """0.8 of the step over the time it takes."""
    edge, seen = large.slowest, seen_rise(large)
    step = signals.on_difference(signal, edge.step, edge.step_u)
    if not _is_short(large) and _is_slewing(seen_rise(small), seen):
        return figure_of("slew_rate", 0.8 * step / seen, "V/s")
    lowest = 0.8 * float(step.nominal_value - COVERAGE_FACTOR * step.std_dev) / _longest_s(large)
    reason = "the edge takes as long at the small level, so bandwidth sets it; raise the level"
    return _bound("slew_rate", lowest, "V/s", "at least", reason)


def _is_slewing(small: UFloat, large: UFloat) -> bool:
    """Whether the edge is longer at the large level for certain, and by a tenth at least: a slew rate makes it ten
    times as long."""
    longer = large - 1.1 * small
    return bool(longer.nominal_value > COVERAGE_FACTOR * longer.std_dev)


def _overshoot(name: str, wave: SquareWave) -> Figure:
    edge = max(wave.edges, key=lambda each: each.overshoot)
    if edge.overshoot <= 2.0 * edge.floor:
        highest = edge.overshoot + edge.floor
        return _bound(name, highest, "1", "at most", "no more than what is seen of noise and residue on a settled top")
    own = math.hypot(float(rectangular(0.0, edge.floor).std_dev), edge.step_u / edge.step)
    return figure_of(name, measured(edge.overshoot, own), "1")


def _tilt(wave: SquareWave) -> Figure:
    tilts = [top.tilt for top in wave.tops]
    mean = sum(tilts) / len(tilts)
    spread = (max(tilts) - min(tilts)) / 2.0
    error = max(math.sqrt(2.0) * top.error / ((top.first + top.last) / 2.0) for top in wave.tops)
    return figure_of("tilt", measured(mean, math.hypot(error, float(rectangular(0.0, spread).std_dev))), "1")


def _with_capacitor(wave: SquareWave) -> Iterator[Figure]:
    yield _overshoot("overshoot_with_capacitor", wave)
    rings = [edge.ringing_hz for edge in wave.edges if edge.ringing_hz is not None]
    if rings:
        mean = sum(rings) / len(rings)
        # Each of the two swings it is told from lies within a sample or a tenth of its own length.
        within = mean * math.hypot(mean * wave.interval_s, 0.1)
        yield figure_of("ringing_frequency", measured(mean, float(rectangular(0.0, within).std_dev)), "Hz")


def _bound(name: str, value: float, unit: str, bound: str, reason: str) -> Figure:
    return Figure(name, value, unit, bound="at most" if bound == "at most" else "at least", bound_reason=reason)
