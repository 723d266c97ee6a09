"""Where the run that preflight expects passes a limit: when, in which step, and by how much.

The limits are all those that the guard watches: of sequence, bench and amplifier.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from benchctl.documents.model.limits import SUPPLY_SIGNALS
from benchctl.guard.limits import RISE_SEEN_S, WatchedLimit, limits_of
from benchctl.quantity import in_minutes, render
from benchctl.runner.acting.run import Files
from benchctl.runner.expected.expected_step import ExpectedStep
from benchctl.runner.plan import PlannedStep

_SUPPLY_VOLTAGE, _SUPPLY_CURRENT = SUPPLY_SIGNALS
_HEATSINK = "heatsink"
# Times that are sums of many others agree only to a rounding error.
_MEET_S = 1e-6


@dataclass(frozen=True)
class _Passing:
    """A time in which a limit is passed, with the value that is farthest beyond it.

    `is_rise`: the value is a rise, in the signal's unit per second.
    """

    begins_s: float
    ends_s: float
    value: float
    beyond: float
    is_rise: bool = False


@dataclass(frozen=True)
class _Trip:
    """A limit that is passed for as long as it allows, and when that time is over."""

    limit: WatchedLimit
    at_s: float
    passing: _Passing


def passed_limits(files: Files, plan: Sequence[PlannedStep], steps: Sequence[ExpectedStep]) -> Iterator[str]:
    """A sentence for each signal that is expected to trip a limit. If it has several limits, the first to trip is
    named.
    """
    trips: dict[str, _Trip] = {}
    for limit in limits_of(files.sequence, files.bench, files.amplifier):
        trip = _first_trip(limit, _passings(limit, files, steps))
        if trip is not None and (limit.signal not in trips or trip.at_s < trips[limit.signal].at_s):
            trips[limit.signal] = trip
    for trip in trips.values():
        yield _sentence(trip, plan, steps)


def _first_trip(limit: WatchedLimit, passings: Iterable[_Passing]) -> _Trip | None:
    tripping = (passing for passing in _joined(passings) if passing.ends_s - passing.begins_s >= limit.bound.for_s)
    first = next(tripping, None)
    return None if first is None else _Trip(limit, first.begins_s + limit.bound.for_s, first)


def _joined(passings: Iterable[_Passing]) -> Iterator[_Passing]:
    """Passings that follow each other without a pause, as one."""
    before: _Passing | None = None
    for passing in passings:
        if before is None:
            before = passing
        elif passing.begins_s <= before.ends_s + _MEET_S and passing.is_rise == before.is_rise:
            farthest = max(before, passing, key=lambda each: each.beyond)
            before = _Passing(before.begins_s, passing.ends_s, farthest.value, farthest.beyond, before.is_rise)
        else:
            yield before
            before = passing
    if before is not None:
        yield before


def _passings(limit: WatchedLimit, files: Files, steps: Sequence[ExpectedStep]) -> Iterator[_Passing]:
    for step in steps:
        if step.duration_s <= 0.0:
            continue
        match limit.signal:
            case signal if signal == _SUPPLY_CURRENT:
                yield from _of_current(limit, step, knows_idle=files.amplifier.idle_current_a is not None)
            case signal if signal == _SUPPLY_VOLTAGE:
                yield from _of_voltage(limit, step)
            case signal if signal == _HEATSINK:
                yield from _of_heatsink(limit, step)


def _of_current(limit: WatchedLimit, step: ExpectedStep, *, knows_idle: bool) -> Iterator[_Passing]:
    """A drive lasts up to the end of its step. A lower bound is compared with the idle current, if that is known."""
    if step.read_a > limit.bound.high:
        yield _Passing(step.ends_s - step.unbroken_s, step.ends_s, step.read_a, step.read_a - limit.bound.high)
    elif knows_idle and step.supply_v is not None and step.supply_a < limit.bound.low:
        yield _Passing(step.begins_s, step.ends_s, step.supply_a, limit.bound.low - step.supply_a)


def _of_voltage(limit: WatchedLimit, step: ExpectedStep) -> Iterator[_Passing]:
    if step.supply_v is not None and limit.bound.is_passed(step.supply_v):
        beyond = max(step.supply_v - limit.bound.high, limit.bound.low - step.supply_v)
        yield _Passing(step.begins_s, step.ends_s, step.supply_v, beyond)


def _of_heatsink(limit: WatchedLimit, step: ExpectedStep) -> Iterator[_Passing]:
    """Within a step it only rises or only falls."""
    high, curve = limit.bound.high, step.heatsink
    rise = (curve.temperature_c(RISE_SEEN_S) - curve.now_c) / RISE_SEEN_S
    if step.hottest_c > high:
        meets_s = curve.reaches_s(high) if min(curve.now_c, step.heatsink_c) <= high else None
        is_hot = curve.now_c > high
        begins_s = 0.0 if is_hot or meets_s is None else meets_s
        ends_s = meets_s if is_hot and meets_s is not None else step.duration_s
        yield _Passing(step.begins_s + begins_s, step.begins_s + ends_s, step.hottest_c, step.hottest_c - high)
    elif rise > limit.bound.steepest and step.duration_s >= RISE_SEEN_S / 2:
        yield _Passing(step.begins_s, step.ends_s, rise, rise - limit.bound.steepest, is_rise=True)


def _sentence(trip: _Trip, plan: Sequence[PlannedStep], steps: Sequence[ExpectedStep]) -> str:
    unit, passing = trip.limit.bound.unit, trip.passing
    where = next(planned.label for planned, step in zip(plan, steps, strict=True) if step.ends_s >= trip.at_s - _MEET_S)
    if passing.is_rise:
        value, beyond = (f"{each * 60.0:.3g} K/min" for each in (passing.value, passing.beyond))
        told = f"to rise by {value}, {beyond} too fast"
    else:
        value, beyond = render(passing.value, unit, digits=3), render(passing.beyond, _difference(unit), digits=3)
        told = f"to be {value}, {beyond} beyond it"
    return (
        f"{trip.limit.signal} is expected to pass its limit, {trip.limit.bound} (of the {trip.limit.origin} file), "
        f"{in_minutes(trip.at_s)} after the start, in {where}, and {told}; lower the drive, shorten the step, "
        "or change the limit"
    )


def _difference(unit: str) -> str:
    """A difference of temperatures is in kelvins."""
    return "K" if unit == "degC" else unit
