"""Clean power with the interval of each figure and the rating: by length of burst, or against what was swept."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from matplotlib.axes import Axes
from matplotlib.markers import CARETUPBASE

from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import value_in_words
from benchctl.measure.conditions import Conditions
from benchctl.quantity import render
from benchctl.report.pictures.canvas import (
    DASHES,
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
from benchctl.report.pictures.records import first_to_last
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.rated_power import PowerRow, length_in_words, lengths_of, power_rows
from benchctl.report.words.quantities import setting

_COLUMNS = 2
_APART = 0.12  # of the distance between two lengths: channels are drawn side by side
_FEWEST = 3  # frequencies or voltages: the table shows fewer better


@dataclass(frozen=True)
class _Point:
    """One power: its series, and its place on the axis in numbers and in words."""

    series: tuple[str, str]  # channel, and what else the series has in common
    x: float
    x_in_words: str
    figure: Figure


@dataclass(frozen=True)
class _Axis:
    """The quantity that power is drawn against."""

    title: str
    label: str
    points: Callable[[PowerRow], list[_Point]]
    names: tuple[str, ...] = ()  # of places that are not numbers
    is_log: bool = False
    unit: str = ""


def power_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """Clean power by length of burst, and against frequency and supply voltage where there are enough of them."""
    rows = [
        row for row in power_rows(run_record.entries, run_record.amplifier) if row.is_clean and row.channel != TOTAL
    ]
    swept = [
        ("power-frequency", _BY_FREQUENCY, _swept(rows, lambda found: replace(found, frequency_hz=None))),
        ("power-supply", _BY_SUPPLY, _swept(rows, lambda found: replace(found, supply_set_v=None))),
    ]
    is_told = {id(row) for _, _, told in swept for row in told}
    others = [row for row in rows if id(row) not in is_told or len(row.by_length) > 1]
    if others:
        yield _picture("power", others, _by_length_of(others))
    for name, axis, told in swept:
        if told:
            yield _picture(name, told, axis)


def _swept(rows: Sequence[PowerRow], without: Callable[[Conditions], Conditions]) -> list[PowerRow]:
    """The tones that differ in one condition alone, of at least so many values of it."""
    alike: dict[object, list[PowerRow]] = {}
    for row in rows:
        if None in row.by_length:
            alike.setdefault((row.channel, without(row.conditions)), []).append(row)
    enough = (group for group in alike.values() if len({row.conditions for row in group}) >= _FEWEST)
    return [row for group in enough for row in group]


def _by_length_of(rows: Sequence[PowerRow]) -> _Axis:
    lengths = lengths_of(rows)
    has_supplies = len({row.conditions.supply_set_v for row in rows}) > 1

    def by_length(row: PowerRow) -> list[_Point]:
        supply = _supply(row) if has_supplies else ""
        return [
            _Point((row.channel, row.series + supply), lengths.index(length), length_in_words(length), figure)
            for length, figure in row.by_length.items()
        ]

    return _Axis("load and length of burst", "", by_length, tuple(length_in_words(length) for length in lengths))


def _by_frequency(row: PowerRow) -> list[_Point]:
    others = str(Conditions(row.conditions.load_ohm)) + _supply(row)
    hertz = row.conditions.frequency_hz or 0.0
    return [_Point((row.channel, others), hertz, setting(hertz, "Hz"), row.by_length[None])]


def _by_supply(row: PowerRow) -> list[_Point]:
    others, volts = row.series, row.conditions.supply_set_v or 0.0
    return [_Point((row.channel, others), volts, setting(volts, "V"), row.by_length[None])]


_BY_FREQUENCY = _Axis("frequency", "frequency, Hz", _by_frequency, is_log=True, unit="Hz")
_BY_SUPPLY = _Axis("supply voltage", "supply voltage, V", _by_supply, unit="V")


def _supply(row: PowerRow) -> str:
    return f", {render(row.conditions.supply_set_v, 'V')}" if row.conditions.supply_set_v else ""


def _picture(name: str, rows: Sequence[PowerRow], axis: _Axis) -> Picture:
    series: dict[tuple[str, str], list[_Point]] = {}
    for point in (point for row in rows for point in axis.points(row)):
        series.setdefault(point.series, []).append(point)
    alt = f"Clean power against {axis.title}. " + " ".join(_told(name, points) for name, points in series.items())
    with drawing(panel_in=2.6, legend_lines=lines_of(len(series), _COLUMNS)) as (figure, (axes,)):
        _plot(axes, series, is_apart=bool(axis.names))
        _rate(axes, rows)
        _scale(axes, axis)
        legend(figure, axes, _COLUMNS)
        svg = svg_of(figure, name, alt)
    files = [file for points in series.values() for point in points for file in point.figure.capture.split()]
    caption = f"Bars: value ± U.{_bounds_in_words(series)} From {first_to_last(files)}."
    return Picture(name, f"Clean power against {axis.title}", caption, alt, svg)


def _bounds_in_words(series: Mapping[tuple[str, str], Sequence[_Point]]) -> str:
    has_bounds = any(point.figure.bound for points in series.values() for point in points)
    return " Arrow upward: at least so much." if has_bounds else ""


def _told(name: tuple[str, str], points: Sequence[_Point]) -> str:
    channel, others = name
    values = ", ".join(f"{point.x_in_words} {value_in_words(point.figure)} W" for point in points)
    return f"Channel {channel}, {others}: {values}."


def _plot(axes: Axes, series: dict[tuple[str, str], list[_Point]], *, is_apart: bool) -> None:
    channels = list(dict.fromkeys(channel for channel, _ in series))
    others = list(dict.fromkeys(other for _, other in series))
    for (channel, other), points in series.items():
        place = channels.index(channel)
        aside = _APART * (place - (len(channels) - 1) / 2) if is_apart else 0.0
        in_order = sorted(points, key=lambda point: point.x)
        axes.errorbar(
            [point.x + aside for point in in_order],
            [point.figure.value for point in in_order],
            [point.figure.expanded_uncertainty or 0.0 for point in in_order],
            fmt=marker(place),
            linestyle=DASHES[others.index(other) % len(DASHES)],
            color=colour(place),
            capsize=2.5,
            label=f"{channel}: {other}",
        )
        bounds = [point for point in in_order if point.figure.bound]
        at, watts = [point.x + aside for point in bounds], [point.figure.value for point in bounds]
        axes.plot(at, watts, linestyle="none", marker=CARETUPBASE, markersize=11.0, color=colour(place))


def _scale(axes: Axes, axis: _Axis) -> None:
    axes.set(ylabel="clean power, W", ylim=(0.0, None), xlabel=axis.label)
    if axis.names:
        axes.set_xlim(-0.5, len(axis.names) - 0.5)
        axes.set_xticks(range(len(axis.names)), axis.names)
    else:
        axes.set_xscale("log" if axis.is_log else "linear")
        axes.xaxis.set_major_formatter(quantities(axis.unit))
        axes.minorticks_off()


def _rate(axes: Axes, rows: Sequence[PowerRow]) -> None:
    """A line for the rating of each load."""
    for load_ohm, rated_w in dict.fromkeys((row.conditions.load_ohm, row.rated_w) for row in rows if row.rated_w):
        axes.axhline(rated_w, color=SOFT, linewidth=1.0, linestyle=(0, (6, 3)))
        axes.annotate(
            f"rated {rated_w:g} W into {load_ohm:g} ohm",
            (0.0, rated_w),
            xycoords=("axes fraction", "data"),
            xytext=(4, -2),
            textcoords="offset points",
            va="top",
            color=SOFT,
            fontsize=8.0,
        )
