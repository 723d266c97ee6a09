"""Distortion against output power of several runs, from their searches for clean levels under the same conditions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from matplotlib.axes import Axes

from benchctl.measure.conditions import Conditions
from benchctl.report.comparison.compared import Comparison
from benchctl.report.pictures.canvas import Picture, colour, drawing, legend, lines_of, marker, svg_of
from benchctl.report.pictures.distortion import (
    SearchCurve,
    SearchPlace,
    distortion_against_power,
    place_in_words,
    search_places,
)
from benchctl.report.words.quantities import said

_COLUMNS = 2
_MOST = 3

_Named = list[tuple[int, str, SearchCurve]]  # the run, its name, and its curve


def distortion_overlays(comparison: Comparison) -> Iterator[Picture]:
    """One for each load, frequency and voltage at which all runs have searched the same: a tone, else a burst."""
    places = [{place.conditions: place for place in search_places(run_record)} for run_record in comparison.run_records]
    shared = [at for at in places[0] if all(at in own for own in places[1:])]
    drawn = (_picture(comparison, at, [own[at] for own in places], number) for number, at in enumerate(shared, start=1))
    yield from [picture for picture in drawn if picture is not None][:_MOST]


def _picture(comparison: Comparison, at: Conditions, places: list[SearchPlace], number: int) -> Picture | None:
    names = [{curve.name: curve for curve in place.curves} for place in places]
    common = [name for name in names[0] if all(name in own for own in names[1:])]
    if not common:
        return None
    what = common[-1]  # a steady tone is searched after the bursts
    named: _Named = [(run, comparison.names.each[run], own[what]) for run, own in enumerate(names)]
    title = f"Distortion against output power {place_in_words(at)}, {what}"
    alt = f"{title}. " + " ".join(_told(name, curve) for _, name, curve in named)
    name = f"distortion-compared-{number}"
    with drawing(panel_in=2.6, legend_lines=lines_of(len(named), _COLUMNS)) as (figure, (axes,)):
        for run, called, curve in named:
            _plot(axes, run, called, curve)
        distortion_against_power(axes, {bound for place in places for bound in place.bounds})
        legend(figure, axes, _COLUMNS)
        svg = svg_of(figure, name, alt)
    caption = (
        "Hollow: not more than this. Ringed: the clean power that was then measured. Dashed: the distortion that was "
        "searched for. Of the channel that distorts most."
    )
    return Picture(name, title, caption, alt, svg)


def _plot(axes: Axes, run: int, name: str, curve: SearchCurve) -> None:
    watts = [point[0] for point in curve.points]
    percents = [100.0 * point[1] for point in curve.points]
    look: dict[str, Any] = {"color": colour(run), "marker": marker(run)}
    axes.plot(watts, percents, "-" if run == 0 else "--", label=name, fillstyle="none", **look)
    known = [
        (watt, percent) for watt, percent, point in zip(watts, percents, curve.points, strict=True) if not point[2]
    ]
    if known:
        axes.plot(*zip(*known, strict=True), linestyle="none", **look)
    if curve.clean is not None:
        power, distortion = curve.clean
        axes.plot(
            [power.value],
            [100.0 * distortion.value],
            "o",
            markersize=10.0,
            fillstyle="none",
            markeredgecolor=colour(run),
        )


def _told(name: str, curve: SearchCurve) -> str:
    clean = f"clean power {said(curve.clean[0])}" if curve.clean is not None else "no clean power"
    return f"{name}: {curve.exposures}, {clean}."
