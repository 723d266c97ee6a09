"""What a run's trend and journal say of heat: power in, power out, temperatures; in steps of equal length."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.archive.journal.events import STEP_FINISHED, STEP_STARTED
from benchctl.archive.journal.journal import Event
from benchctl.archive.tables.trend import read_trend, trend_file
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.errors import MeasurementError
from benchctl.fit.heat.outputs import Outputs, Point, point_of, points_of

Samples = NDArray[np.float64]

LEAST_STEP_S, MOST_STEPS = 0.5, 3000
LIVE_V = 1.0
"""A supply with less is off."""

FEWEST = 30
"""Readings of the sensor on the heatsink; fewer tell no course."""

MOST_GAP_S = 30.0
"""Over a longer gap in the supply's readings nobody knows the heat."""

MARGINAL, MARGINAL_U = 0.45, 0.26
"""Part of the power beyond the idle that bursts give to the loads, where no figure tells it: anything from none to nine
tenths, so that the course of the temperature decides."""

HEATSINK, AMBIENT = "heatsink_c", "ambient_c"
CURRENT, VOLTAGE = "supply_current_a", "supply_voltage_v"


@dataclass(frozen=True)
class HeatTaken:
    """Means of each step, from the first reading to the last of the sensor on the heatsink.

    Attributes:
        ends_s: of the steps.
        input_w: from the supply, by its own readings; `supply_v` its voltage, `squared_a2` its current squared.
        outputs_w: into all loads, by the figures of the run.
        bursts_w: power beyond the idle power while bursts played whose power into the loads no figure holds, or a tone
            in a run that has no figure of a tone's power.
        air_c: around the bench; None where no sensor was there.
        times_s, shown_c: of the readings of the sensor on the heatsink.
        figured_w: power beyond the idle power while bursts played whose mean current is a figure of the run, as the
            supply's readings may see bursts too often or too seldom; `figured_u`: its relative standard uncertainty.
        outputs_u: of the power into all loads, a relative standard uncertainty.
        missed_j2: variance of the heat of each step by what passes between two readings of the supply. When it changed
            from one to the other nobody knows.
        late_s: by how much the times of the supply's readings may be off; a standard uncertainty.
    """

    ends_s: Samples
    step_s: float
    input_w: Samples
    supply_v: Samples
    squared_a2: Samples
    outputs_w: Samples
    bursts_w: Samples
    air_c: Samples | None
    times_s: Samples
    shown_c: Samples
    figured_w: Samples
    figured_u: float
    outputs_u: float
    missed_j2: Samples
    late_s: float

    @property
    def live_s(self) -> float:
        """From when the supply was switched on."""
        live = self.ends_s[self.supply_v > LIVE_V]
        return float(self.ends_s[-1] - live[0]) if len(live) else 0.0


def heat_taken(
    folder: RunFolder, amplifier: Amplifier, entries: Sequence[FiguresEntry], events: Sequence[Event]
) -> HeatTaken:
    """Of a run.

    Raises:
        MeasurementError: it lacks what tells heat or temperature; the message is the reason.
    """
    columns = _columns(folder)
    read = np.isfinite(columns[HEATSINK])
    if read.sum() < FEWEST:
        raise MeasurementError("the heatsink's temperature was read too seldom")
    times_s, shown_c = columns["time_s"][read], columns[HEATSINK][read]
    supplied = np.isfinite(columns[CURRENT]) & np.isfinite(columns[VOLTAGE])
    rows = {name: columns[name][supplied] for name in ("time_s", CURRENT, VOLTAGE)}
    if not supplied.any() or _widest(rows["time_s"], times_s) > MOST_GAP_S:
        raise MeasurementError("the supply's current and voltage were not read all the time, so the heat is not known")
    step_s = max(LEAST_STEP_S, float(times_s[-1] - times_s[0]) / MOST_STEPS)
    edges_s = times_s[0] + step_s * np.arange(math.ceil(float(times_s[-1] - times_s[0]) / step_s) + 1)

    def means(values: Samples) -> Samples:
        return _means(rows["time_s"], values, edges_s)

    outputs = Outputs(points_of(entries), amplifier, _idle_a(entries, rows[VOLTAGE], rows[CURRENT]))
    played = _played(outputs, entries, events, rows)
    return HeatTaken(
        ends_s=edges_s[1:],
        step_s=step_s,
        input_w=means(rows[VOLTAGE] * played.supply_a),
        supply_v=means(rows[VOLTAGE]),
        squared_a2=means(played.supply_a**2),
        outputs_w=means(played.outputs_w),
        bursts_w=means(played.bursts_w),
        figured_w=means(played.figured_w),
        figured_u=max((point.current_u for point in points_of(entries) if not point.is_steady), default=0.0),
        air_c=_air(columns, edges_s[1:]),
        times_s=times_s,
        shown_c=shown_c,
        outputs_u=max((point.relative_u for point in points_of(entries)), default=0.0),
        missed_j2=_missed_j2(rows["time_s"], rows[VOLTAGE] * played.supply_a - played.known_w, edges_s),
        late_s=float(np.median(np.diff(rows["time_s"]))) / math.sqrt(3.0),
    )


def _columns(folder: RunFolder) -> dict[str, Samples]:
    if not trend_file(folder).exists():
        raise MeasurementError("the run has no trend")
    trend = read_trend(folder)
    if HEATSINK not in trend or not trend[HEATSINK].notna().any():
        raise MeasurementError("no sensor was on the heatsink")
    if CURRENT not in trend or VOLTAGE not in trend:
        raise MeasurementError("nobody read the supply's current and voltage, so the heat is not known")
    return {str(name): trend[name].to_numpy(dtype=np.float64) for name in trend.columns}


def _widest(rows_s: Samples, times_s: Samples) -> float:
    """Gap between readings of the supply, from the first to the last reading of the heatsink."""
    within = rows_s[(rows_s > times_s[0]) & (rows_s < times_s[-1])]
    return float(np.diff(np.concatenate([times_s[:1], within, times_s[-1:]])).max())


def _means(rows_s: Samples, values: Samples, edges_s: Samples) -> Samples:
    """Over each step, of values that go evenly from row to row."""
    areas = np.concatenate([[0.0], np.cumsum(np.diff(rows_s) * (values[1:] + values[:-1]) / 2.0)])
    return np.asarray(np.diff(np.interp(edges_s, rows_s, areas)) / np.diff(edges_s))


def _missed_j2(rows_s: Samples, heat_w: Samples, edges_s: Samples) -> Samples:
    """A heat that jumps between two readings is taken as going evenly. A reading may be as old as the one before it, so
    that the energy is off by anything up to half the jump times their distance; that is its standard uncertainty."""
    missed_j2 = (np.diff(heat_w) * np.diff(rows_s)) ** 2 / 4.0
    return np.asarray(np.diff(np.interp(edges_s, rows_s, np.concatenate([[0.0], np.cumsum(missed_j2)]))))


def _air(columns: Mapping[str, Samples], ends_s: Samples) -> Samples | None:
    air_c = columns.get(AMBIENT)
    if air_c is None or not np.isfinite(air_c).any():
        return None
    read = np.isfinite(air_c)
    return np.asarray(np.interp(ends_s, columns["time_s"][read], air_c[read]))


def _idle_a(entries: Sequence[FiguresEntry], supply_v: Samples, supply_a: Samples) -> float:
    """The supply's current with nothing at the inputs."""
    idles = [entry.named_readings().get("supply_current", []) for entry in entries if entry.analysis == "idle"]
    read = [value for values in idles[:1] for value in values if math.isfinite(value)]
    if read:
        return float(np.mean(read))
    live = supply_a[supply_v > LIVE_V]
    return float(np.percentile(live, 5.0)) if len(live) else 0.0


@dataclass
class _Played:
    """At each reading of the supply: as of HeatTaken, and the supply's current with figures in place of readings."""

    supply_a: Samples
    outputs_w: Samples
    bursts_w: Samples
    figured_w: Samples

    @property
    def known_w(self) -> Samples:
        """Into the loads, as far as it is known, and what is usual of bursts."""
        return self.outputs_w + MARGINAL * self.bursts_w


def _played(
    outputs: Outputs, entries: Sequence[FiguresEntry], events: Sequence[Event], rows: Mapping[str, Samples]
) -> _Played:
    none = np.zeros_like(rows["time_s"])
    found = _Played(rows[CURRENT].copy(), none.copy(), none.copy(), none.copy())
    for begin_s, end_s, load_ohm in _steps(events):
        own = (rows["time_s"] > begin_s) & (rows["time_s"] <= end_s)
        if load_ohm is None or not own.any():
            continue
        volts, amperes = rows[VOLTAGE][own], rows[CURRENT][own]
        within = [entry for entry in entries if begin_s < entry.time_s <= end_s]
        figured = next((point for point in map(point_of, within) if point is not None and not point.is_steady), None)
        if figured is not None:
            is_late = rows["time_s"] > end_s - figured.lasted_s
            found.bursts_w[own] = outputs.beyond_w(volts, amperes)
            _take_figured(found, outputs, figured, own & is_late, rows[VOLTAGE])
        elif not outputs.are_known or any(_is_in_bursts(entry) for entry in within):
            found.bursts_w[own] = outputs.beyond_w(volts, amperes)
        else:
            found.outputs_w[own] = outputs.power_w(load_ohm, volts, amperes)
    return found


def _take_figured(found: _Played, outputs: Outputs, figured: Point, own: NDArray[np.bool_], supply_v: Samples) -> None:
    """Bursts whose mean current and power are figures."""
    found.supply_a[own] = figured.supply_a
    found.outputs_w[own] = figured.power_w
    found.bursts_w[own] = 0.0
    found.figured_w[own] = outputs.beyond_w(supply_v[own], found.supply_a[own])


def _steps(events: Sequence[Event]) -> Iterator[tuple[float, float, float | None]]:
    """Begin, end and load of each step that came to its end."""
    began: dict[int, Event] = {}
    for event in events:
        if event["event"] == STEP_STARTED:
            began[int(event["index"])] = event
        elif event["event"] == STEP_FINISHED and int(event["index"]) in began:
            first = began.pop(int(event["index"]))
            yield float(first["time_s"]), float(event["time_s"]), (first.get("conditions") or {}).get("load_ohm")


def _is_in_bursts(entry: FiguresEntry) -> bool:
    return entry.analysis == "burst" or any(conditions.bursts for conditions in entry.captured.values())
