"""The takes of a run: each burst, steady tone and idle that its journal tells of."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchctl.archive.captures import load_capture
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry, context_of, entries_of
from benchctl.archive.journal.events import RUN_ENDED, RUN_STARTED
from benchctl.archive.journal.journal import Event, read_journal
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.reader import load_amplifier
from benchctl.errors import ArchiveError, MeasurementError
from benchctl.fit.reading.carrier import clear_of, samples_apart, without_carrier
from benchctl.fit.reading.items import (
    CURRENT,
    METER_CURRENT,
    METER_VOLTAGE,
    NO_INSTANTS,
    VOLTAGE,
    Item,
    Scale,
    Take,
)
from benchctl.fit.reading.limited import limited
from benchctl.fit.reading.placing import with_burst_at_trigger
from benchctl.fit.reading.sines import phases_of, tops_by_channel
from benchctl.fit.reading.thinning import (
    GAIN_MOVES,
    POINTS,
    POINTS_OF_HELD,
    burst_instants,
    outputs_of,
    resting_mean,
    scale_of,
    steady_instants,
    supply_bins,
    whole_mean,
)
from benchctl.measure.analyses.context import BurstContext, ContinuousContext, IdleContext
from benchctl.measure.budget.resolution import mean_as_shown
from benchctl.measure.conditions import Conditions
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.uncertainty import Accuracy
from benchctl.quantity import render

QUIET_AFTER_S = 1e-3
"""After a burst, until its end has gone through the output's filter."""

RESTING_HZ = 1000.0
"""Of a tone that does not play."""

_READINGS = {"supply_current": METER_CURRENT, "supply_voltage": METER_VOLTAGE}


@dataclass(frozen=True)
class Bench:
    """What the bench file says of the instruments that no record shows: the generator, and the supply's sense leads."""

    level_gain_u: float
    level_zero_u: float
    frequency_u: float
    senses_terminals: bool


@dataclass(frozen=True)
class RunTaken:
    """Everything of a run that the fit looks at; `left_out`: what it cannot use, in sentences."""

    name: str
    amplifier: Amplifier
    takes: tuple[Take, ...]
    bench: Bench
    entries: tuple[FiguresEntry, ...]
    events: tuple[Event, ...]
    left_out: tuple[str, ...]

    @property
    def is_simulated(self) -> bool:
        """Whether its instruments were simulated."""
        return any(event.get("simulated") for event in self.events)

    @property
    def serial(self) -> str:
        """Of the unit; '' where the run does not tell it."""
        return next((str(event.get("serial") or "") for event in self.events if event["event"] == RUN_STARTED), "")


def read_run(folder: RunFolder) -> RunTaken:
    """The run in a folder.

    Raises:
        ArchiveError: its journal or one of its records is broken, or its amplifier file is not there.
        DocumentError: its amplifier file cannot be read.
    """
    events = read_journal(folder.journal).events
    amplifier = load_amplifier(folder.kept_input("amplifier.yaml"))
    entries = entries_of(events)
    takes: list[Take] = []
    points = POINTS_OF_HELD if amplifier.rails == "regulated" else POINTS
    band_hz = _band_of(entries)
    left_out = list(_ending(events))
    for entry in entries:
        try:
            takes += _takes_of(folder, entry, points, band_hz)
        except MeasurementError as error:
            left_out.append(f"{entry.step}: {error}")
    without = limited(takes)
    return RunTaken(
        name=folder.name,
        amplifier=amplifier,
        takes=tuple(take for number, take in enumerate(takes) if number not in without),
        bench=_bench_of(entries),
        entries=tuple(entries),
        events=tuple(events),
        left_out=(*left_out, *without.values()),
    )


def without_load(run: RunTaken, load_ohm: float) -> RunTaken:
    """The run without what was measured into a nominal load."""

    def is_there(take: Take) -> bool:
        return any(abs(load.nominal_ohm - load_ohm) < 1e-3 * load_ohm for load in take.loads.values())

    return replace(run, takes=tuple(take for take in run.takes if not is_there(take)))


def _ending(events: Sequence[Mapping[str, object]]) -> Iterator[str]:
    ended = [event for event in events if event["event"] == RUN_ENDED]
    reason = str(ended[-1].get("reason", "")) if ended else "it was cut off"
    if reason != "finished":
        yield f"the run did not come to its end: {reason}"


def _bench_of(entries: Sequence[FiguresEntry]) -> Bench:
    contexts = [context_of(entry) for entry in entries]
    known = [context for context in contexts if isinstance(context, IdleContext)]
    level = [each for context in known[:1] for each in context.level_accuracy]
    root = math.sqrt(3.0)
    return Bench(
        level_gain_u=math.sqrt(sum(each.reading**2 for each in level)) / root,
        level_zero_u=math.sqrt(sum(each.fixed**2 for each in level)) / root,
        frequency_u=(known[0].frequency_accuracy if known else 0.0) / root,
        senses_terminals=bool(known and known[0].senses_terminals),
    )


def _band_of(entries: Sequence[FiguresEntry]) -> float | None:
    """Up to where the outputs of a class D amplifier count; None of one that has no carrier."""
    contexts = (context_of(entry) for entry in entries)
    bands_hz = (each.low_pass_hz for each in contexts if isinstance(each, BurstContext | ContinuousContext))
    return next((band_hz for band_hz in bands_hz if band_hz is not None), None)


def _takes_of(folder: RunFolder, entry: FiguresEntry, points: int, band_hz: float | None) -> Iterator[Take]:
    context = context_of(entry)
    if entry.analysis == "burst" and isinstance(context, BurstContext):
        for file in dict.fromkeys(entry.captures[role] for role in ("clean", "full") if role in entry.captures):
            yield _burst(folder, entry, context, file, points)
    elif entry.analysis == "continuous" and isinstance(context, ContinuousContext):
        if "rest" in entry.captures:
            yield _rest(folder, entry, context, entry.captures["rest"], {}, band_hz=band_hz, loads=True)
        yield _steady(folder, entry, context, entry.captures["continuous"], points)
    elif entry.analysis == "idle" and isinstance(context, IdleContext):
        yield _rest(
            folder, entry, context, entry.captures["idle"], entry.named_readings(), band_hz=band_hz, loads=False
        )


def _burst(folder: RunFolder, entry: FiguresEntry, context: BurstContext, file: str, points: int) -> Take:
    capture = with_burst_at_trigger(load_capture(folder.inside(file)), context)
    quiet_s = context.cycles / context.frequency_hz + QUIET_AFTER_S
    capture = without_carrier(capture, context.low_pass_hz, context.frequency_hz, quiet_s)
    instants = burst_instants(capture, context.frequency_hz, context.cycles, clear_of(context.low_pass_hz), points)
    apart = samples_apart(capture.interval_s, context.low_pass_hz)
    scales = _scales(capture, context.accuracy)
    conditions = entry.captured.get(file, entry.conditions)
    driven = conditions.driven or capture.channels
    items = outputs_of(capture, instants, scales, capture.channels, apart) | supply_bins(capture, instants, scales)
    return Take(
        file=file,
        name=f"burst of {context.cycles} {'cycle' if context.cycles == 1 else 'cycles'} {_at(conditions)}",
        shape="burst",
        frequency_hz=context.frequency_hz,
        level_v=_level_of(conditions, file),
        supply_v=_supply_of(conditions, file),
        driven=driven,
        quiet=context.low_level_ratio,
        cycles=context.cycles,
        loads=context.loads,
        instants=instants,
        phases=(phases := phases_of(items, instants.nodes_s[instants.sampled], context.frequency_hz)),
        items=items,
        heatsink_c=_heatsink(entry),
        taken_s=capture.taken_s,
        is_searched=conditions.drive != "set",
        tops=tops_by_channel(capture, phases, context.frequency_hz, apart, context.cycles),
    )


def _steady(folder: RunFolder, entry: FiguresEntry, context: ContinuousContext, file: str, points: int) -> Take:
    capture = load_capture(folder.inside(file))
    capture = without_carrier(capture, context.low_pass_hz, context.frequency_hz, 0.0)
    instants = steady_instants(capture, context.frequency_hz, clear_of(context.low_pass_hz), points)
    apart = samples_apart(capture.interval_s, context.low_pass_hz)
    scales = _scales(capture, context.accuracy)
    conditions = entry.captured.get(file, entry.conditions)
    items = outputs_of(capture, instants, scales, capture.channels, apart)
    phases = phases_of(items, instants.nodes_s[instants.sampled], context.frequency_hz)
    items |= {signal: whole_mean(capture, scales[signal]) for signal in (CURRENT, VOLTAGE) if signal in scales}
    items |= _meters(entry.named_readings(), context)
    return Take(
        file=file,
        name=f"continuous tone {_at(conditions)}",
        shape="steady",
        frequency_hz=context.frequency_hz,
        level_v=_level_of(conditions, file),
        supply_v=_supply_of(conditions, file),
        driven=conditions.driven or capture.channels,
        quiet=1.0,
        cycles=0,
        loads=context.loads,
        instants=instants,
        phases=phases,
        items=items,
        heatsink_c=_heatsink(entry),
        taken_s=capture.taken_s,
        is_searched=conditions.drive != "set",
        tops=tops_by_channel(capture, phases, context.frequency_hz, apart),
    )


def _rest(
    folder: RunFolder,
    entry: FiguresEntry,
    context: IdleContext,
    file: str,
    readings: Mapping[str, Sequence[float]],
    *,
    band_hz: float | None,
    loads: bool,
) -> Take:
    capture = load_capture(folder.inside(file))
    scales = _scales(capture, context.accuracy)
    conditions = entry.captured.get(file, entry.conditions)
    is_loaded = loads and isinstance(context, ContinuousContext)
    return Take(
        file=file,
        name=f"rest before the tone {_at(conditions)}" if loads else f"idle {_at(conditions)}",
        shape="rest",
        frequency_hz=RESTING_HZ,
        level_v=0.0,
        supply_v=_supply_of(conditions, file),
        driven=(),
        quiet=0.0,
        cycles=0,
        loads=context.loads if is_loaded and isinstance(context, ContinuousContext) else {},
        instants=NO_INSTANTS,
        phases={},
        items=_at_rest(capture, scales, band_hz) | _meters(readings, context),
        heatsink_c=_heatsink(entry),
        taken_s=capture.taken_s,
    )


def _scales(capture: Capture, accuracy: Mapping[str, Sequence[Accuracy]]) -> dict[str, Scale]:
    return {
        signal: scale_of(signal, trace, accuracy.get(signal, ()))
        for signal, trace in capture.traces.items()
        if signal in (CURRENT, VOLTAGE) or signal.removeprefix(OUTPUT) in capture.channels
    }


def _at_rest(capture: Capture, scales: Mapping[str, Scale], band_hz: float | None) -> dict[str, Item]:
    heard = without_carrier(capture, band_hz, RESTING_HZ, capture.start_s)
    apart = samples_apart(capture.interval_s, band_hz)
    return {
        signal: resting_mean(capture, scale, heard, apart) if signal.startswith(OUTPUT) else whole_mean(capture, scale)
        for signal, scale in scales.items()
    }


def _meters(readings: Mapping[str, Sequence[float]], context: IdleContext) -> dict[str, Item]:
    """What the supply reads of itself."""
    found: dict[str, Item] = {}
    for name, signal in _READINGS.items():
        values = [value for value in readings.get(name, ()) if math.isfinite(value)]
        if not values:
            continue
        accuracies = context.readings_accuracy.get(name, ())
        mean = mean_as_shown(values, accuracies)
        gain = math.sqrt(sum(each.reading**2 for each in accuracies))
        zero_u = math.sqrt(sum(each.zero_limit() ** 2 for each in accuracies) / 3.0)
        noise = np.array([math.hypot(max(float(mean.s), 1e-6), GAIN_MOVES * gain * float(mean.n))])
        scale = Scale(signal, gain / math.sqrt(3.0), "", 0.0, zero_u)
        found[signal] = Item(signal, np.array([float(mean.n)]), noise, scale)
    return found


def _heatsink(entry: FiguresEntry) -> float | None:
    values = [value for value in entry.named_readings().get("heatsink", ()) if math.isfinite(value)]
    return float(np.mean(values)) if values else None


def _at(conditions: Conditions) -> str:
    load = "" if conditions.load_ohm is None else f" into {render(conditions.load_ohm, 'ohm')}"
    level = f"at {conditions.drive} level" if conditions.drive not in {"", "undriven"} else ""
    supply = "" if conditions.supply_set_v is None else f" at {render(conditions.supply_set_v, 'V')}"
    return f"{level}{load}{supply}".strip()


def _level_of(conditions: Conditions, file: str) -> float:
    if conditions.level_v is None:
        raise ArchiveError(f"the journal does not say at which level {file} was taken")
    return conditions.level_v


def _supply_of(conditions: Conditions, file: str) -> float:
    if conditions.supply_set_v is None:
        raise ArchiveError(f"the journal does not say what the supply was set to for {file}")
    return conditions.supply_set_v
