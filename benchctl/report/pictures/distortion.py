"""Distortion against output power, from the searches for clean levels, with the clean power that was then measured."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from matplotlib.axes import Axes

from benchctl.archive.journal.events import SEARCH
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.instruments import ElectronicLoad
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.conditions import Conditions
from benchctl.report.pictures.canvas import (
    SOFT,
    Picture,
    colour,
    drawing,
    legend,
    lines_of,
    marker,
    quantities,
    svg_of,
)
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.reading.step_history import StepTaken
from benchctl.report.words.names import length_for
from benchctl.report.words.quantities import said, setting, spoken

_COLUMNS = 2
_MOST = 6  # pictures of a run
_FEWEST = 3  # exposures: two points are no curve
STEADY = "steady tone"


@dataclass(frozen=True)
class SearchCurve:
    """One search: what was searched, output power and distortion of each exposure, and the clean power found."""

    name: str
    points: tuple[tuple[float, float, bool], ...]  # watts, distortion, whether that is only a bound
    clean: tuple[Figure, Figure] | None = None  # power and distortion

    @property
    def exposures(self) -> str:
        return f"{len(self.points)} exposures"


@dataclass(frozen=True)
class SearchPlace:
    """Searches at one load, frequency and supply voltage."""

    conditions: Conditions
    curves: list[SearchCurve]
    numbers: list[int]  # of the journal events
    bounds: set[float]


def distortion_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """One for each load, frequency and voltage at which clean levels were searched, up to a useful number."""
    for number, place in enumerate(search_places(run_record)[:_MOST], start=1):
        yield _picture(place, f"distortion-{number}")


def search_places(run_record: RunRecord) -> list[SearchPlace]:
    """Where clean levels were searched, with the curve of each search."""
    found: dict[Conditions, SearchPlace] = {}
    for search in run_record.of_kind(SEARCH):
        step = _step_of(run_record.steps, search)
        if step is None or str(search.get("what", "")).startswith("full"):
            continue
        begun = step.conditions
        at = Conditions(begun.load_ohm, begun.frequency_hz, supply_set_v=begun.supply_set_v)
        points = _points(search, run_record.bench, at.load_ohm)
        if len(points) < _FEWEST:
            continue
        place = found.setdefault(at, SearchPlace(at, [], [], set()))
        place.curves.append(_curve(run_record, search, at, points, [curve.name for curve in place.curves]))
        place.numbers.append(int(search["number"]))
        place.bounds.add(float(step.settings["thd_n"]))
    return list(found.values())


def _step_of(steps: Sequence[StepTaken], search: Mapping[str, Any]) -> StepTaken | None:
    """The last step of that name that had begun by then, if it says what it searched."""
    found = [step for step in steps if step.label == search.get("step") and step.number < int(search["number"])]
    return found[-1] if found and "thd_n" in found[-1].settings else None


def _points(
    search: Mapping[str, Any], bench: Bench | None, load_ohm: float | None
) -> tuple[tuple[float, float, bool], ...]:
    """In order of power; nothing of a journal that did not keep the output's voltage yet."""
    seen = [exposure for exposure in search.get("exposures", ()) if exposure.get("output_v") is not None]
    points = (
        (
            float(exposure["output_v"]) ** 2 / _resistance(bench, load_ohm, str(exposure.get("channel", ""))),
            float(exposure["distortion"]),
            bool(exposure["is_bound"]),
        )
        for exposure in seen
        if load_ohm
    )
    return tuple(sorted(points))


def _resistance(bench: Bench | None, load_ohm: float, channel: str) -> float:
    """As the bench file says it was measured; the nominal one where it does not."""
    load = bench.load if bench is not None else None
    if load is None or isinstance(load, ElectronicLoad):
        return load_ohm
    resistor = load.resistors_for(load_ohm).get(channel)
    return load_ohm if resistor is None else resistor.measured_ohm


def _curve(
    run_record: RunRecord,
    search: Mapping[str, Any],
    at: Conditions,
    points: tuple[tuple[float, float, bool], ...],
    before: Sequence[str],
) -> SearchCurve:
    cycles = _cycles(str(search.get("what", "")))
    name = STEADY if cycles is None else f"burst of {length_for(cycles)}"
    turn = sum(each.partition(" (")[0] == name for each in before) + 1
    clean = _clean(run_record, at, cycles, int(search["number"]))
    return SearchCurve(f"{name} ({turn})" if turn > 1 else name, points, clean)


def _cycles(what: str) -> int | None:
    """The length in what was searched, as in `clean level, 8 cycles`; None of a steady tone."""
    _, _, length = what.partition(", ")
    number = length.partition(" ")[0]
    return int(number) if number.isdigit() else None


def _clean(run_record: RunRecord, at: Conditions, cycles: int | None, after: int) -> tuple[Figure, Figure] | None:
    """Power and distortion of the channel that distorts most, of the next analysis at the level that was found."""
    name = "continuous_power" if cycles is None else "burst_power_clean"
    for entry in run_record.entries:
        there = replace(entry.conditions, level_v=None, drive="", driven=(), thd_limit=None, bursts="", supply_at="")
        if entry.number < after or there != at:
            continue
        powers = {
            figure.channel: figure
            for figure in entry.figures
            if (figure.name, figure.burst_cycles) == (name, cycles)
            and figure.channel != TOTAL
            and entry.conditions_of(figure).drive == "clean"
        }
        distortions = [
            figure
            for figure in entry.figures
            if (figure.name, figure.burst_cycles) == ("thd_n", cycles)
            and figure.channel in powers
            and entry.conditions_of(figure).drive == "clean"
        ]
        if distortions:
            worst = max(distortions, key=lambda figure: figure.value)
            return powers[worst.channel], worst
    return None


def distortion_against_power(axes: Axes, bounds: Iterable[float]) -> None:
    """The scales of such a picture, and a dashed line at each distortion that was searched for."""
    for bound in sorted(bounds):
        axes.axhline(100.0 * bound, color=SOFT, linewidth=1.0, linestyle=(0, (6, 3)))
    axes.set(xscale="log", yscale="log", xlabel="output power, W", ylabel="THD+N, %")
    axes.xaxis.set_major_formatter(quantities("W"))
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.minorticks_off()


def _picture(place: SearchPlace, name: str) -> Picture:
    at = place_in_words(place.conditions)
    alt = f"Distortion against output power {at}. " + " ".join(_told(curve) for curve in place.curves)
    with drawing(panel_in=2.6, legend_lines=lines_of(len(place.curves), _COLUMNS)) as (figure, (axes,)):
        for series, curve in enumerate(place.curves):
            _plot(axes, curve, series)
        distortion_against_power(axes, place.bounds)
        legend(figure, axes, _COLUMNS)
        svg = svg_of(figure, name, alt)
    events = ", ".join(map(str, place.numbers))
    caption = (
        "Hollow: not more than this, since the record's own floor is near. Ringed: the clean power that was then "
        "measured. Dashed: the distortion that was searched for. Of the channel that distorts most. Power of the "
        f"fundamental, from the searches in journal events {events}; the records of a search are not kept."
    )
    return Picture(name, f"Distortion against output power {at}", caption, alt, svg)


def place_in_words(at: Conditions) -> str:
    """As in: into 4 ohm at 1 kHz from 14.4 V."""
    parts = (
        f"into {setting(at.load_ohm, 'ohm')}" if at.load_ohm else "",
        f"at {setting(at.frequency_hz, 'Hz')}" if at.frequency_hz else "",
        f"from {setting(at.supply_set_v, 'V')}" if at.supply_set_v else "",
    )
    return " ".join(filter(None, parts))


def _plot(axes: Axes, curve: SearchCurve, series: int) -> None:
    watts = [point[0] for point in curve.points]
    percents = [100.0 * point[1] for point in curve.points]
    axes.plot(watts, percents, color=colour(series), linewidth=1.0)
    for is_bound, fill in ((False, colour(series)), (True, "none")):
        chosen = [number for number, point in enumerate(curve.points) if point[2] is is_bound]
        axes.plot(
            [watts[number] for number in chosen],
            [percents[number] for number in chosen],
            marker(series),
            markeredgecolor=colour(series),
            markerfacecolor=fill,
            label=None if is_bound else curve.name,
        )
    if curve.clean is not None:
        power, distortion = curve.clean
        at = (power.value, 100.0 * distortion.value)
        axes.plot(*[[value] for value in at], "o", markersize=10.0, fillstyle="none", markeredgecolor=colour(series))
        if curve.name == STEADY:
            axes.annotate(said(power), at, xytext=(-8, 6), textcoords="offset points", ha="right", color=colour(series))


def _told(curve: SearchCurve) -> str:
    ends = ", ".join(
        f"{spoken(100.0 * distortion, '%')} at {spoken(watts, 'W')}"
        for watts, distortion, _ in (curve.points[0], curve.points[-1])
    )
    clean = f"; clean power {said(curve.clean[0])}" if curve.clean is not None else ""
    return f"{curve.name}: {curve.exposures}, {ends}{clean}."
