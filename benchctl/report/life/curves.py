"""The main figures of a unit over time: each as a curve of what was measured at the same place in several runs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from benchctl.archive.changes import Change, Occasion
from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import burst_in_words
from benchctl.report.comparison.compared import Comparison
from benchctl.report.words.names import place_of

# What is drawn together: its title, and the figures that are of it.
_GROUPS: Mapping[str, tuple[str, ...]] = {
    "Power": ("continuous_power", "held_power", "burst_power_clean"),
    "Idle current": ("idle_current",),
    "Efficiency": ("efficiency",),
    "Distortion": ("thd_n",),
    "Noise": ("output_noise",),
    "Final temperature of the heatsink": ("final_heatsink_temperature",),
}
_BY_LOAD = "Power"
_SEARCHED = frozenset({"clean", "full"})  # the distortion there is the one that the level was searched for
MOST_CURVES = 6


@dataclass(frozen=True)
class LifeCurve:
    """`points`: the number of a run, and its figure."""

    label: str
    points: tuple[tuple[int, Figure], ...]


@dataclass(frozen=True)
class Group:
    """Curves of one quantity; `left`: how many more there are."""

    title: str
    curves: tuple[LifeCurve, ...]
    left: int
    is_power: bool = False


def groups_of(comparison: Comparison) -> Iterator[Group]:
    """Every group with a figure that two runs have; powers by load."""
    for title, names in _GROUPS.items():
        rows = [(place, _points(changes)) for place, changes in comparison.rows.items() if _is_of(place, names)]
        shared = [(place, points) for place, points in rows if len(points) > 1]
        loads = dict.fromkeys(_load_of(place) for place, _ in shared) if title == _BY_LOAD else {None: None}
        for load_ohm in loads:
            own = [each for each in shared if title != _BY_LOAD or _load_of(each[0]) == load_ohm]
            if own:
                at = f" into {load_ohm:g} ohm" if load_ohm else ""
                yield _group(f"{title}{at}", own, is_power=title == _BY_LOAD)


def _is_of(place: Occasion, names: Sequence[str]) -> bool:
    name, channel, *_ = place.identity
    return name in names and channel != TOTAL and not (name == "thd_n" and place.conditions.drive in _SEARCHED)


def _load_of(place: Occasion) -> float | None:
    return place.identity[3] or place.conditions.load_ohm


def _points(changes: Sequence[Change]) -> tuple[tuple[int, Figure], ...]:
    """The first run's figure, then that of each other run; one that rests on a contradiction is none."""
    each = [changes[0].before, *(change.after for change in changes)]
    return tuple((run, f) for run, f in enumerate(each) if f is not None and not f.contradiction)


def _group(title: str, rows: Sequence[tuple[Occasion, tuple[tuple[int, Figure], ...]]], *, is_power: bool) -> Group:
    """The curves with the most points, in the order of the runs."""
    longest = sorted(rows, key=lambda row: -len(row[1]))[:MOST_CURVES]
    kept = [row for row in rows if row in longest]
    several = len({place.identity[0] for place, _ in kept}) > 1
    names = [_label(place, with_name=several, with_load=not is_power) for place, _ in kept]
    labels = [
        f"{name}, step {place.step}" if Counter(names)[name] > 1 else name
        for name, (place, _) in zip(names, kept, strict=True)
    ]
    curves = tuple(LifeCurve(label, points) for label, (_, points) in zip(labels, kept, strict=True))
    return Group(title, curves, len(rows) - len(kept), is_power)


def _label(place: Occasion, *, with_name: bool, with_load: bool) -> str:
    name, channel, cycles, load_ohm, frequency_hz = place.identity
    found = place.conditions.in_effect
    load = (load_ohm or found.load_ohm) if with_load and found.drive != "undriven" else None
    at = place_of(replace(found, load_ohm=load, frequency_hz=frequency_hz or found.frequency_hz))
    burst = burst_in_words(cycles) if cycles else ""
    said = ", ".join(filter(None, [figure_in_words(name) if with_name else "", burst, channel, at]))
    return said or figure_in_words(name)
