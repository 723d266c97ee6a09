"""Efficiency and supply current against output power, where a sequence drives the same load at several levels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from matplotlib.axes import Axes

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import as_said, unit_in_words, value_in_words
from benchctl.report.pictures.canvas import Picture, colour, drawing, legend, lines_of, marker, svg_of
from benchctl.report.reading.run_record import RunRecord

_FEWEST = 4  # levels: the table shows fewer better
_COLUMNS = 2
_PANELS = ("efficiency", "supply_current")

_Curve = list[tuple[Figure, dict[str, Figure]]]  # output power, and what is drawn against it


def efficiency_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """One picture, if there is a load with enough levels."""
    curves: dict[str, _Curve] = {}
    for entry in run_record.entries:
        point = _point(entry)
        if point is not None:
            curves.setdefault(_name(run_record, entry), []).append(point)
    told = {name: sorted(curve, key=lambda p: p[0].value) for name, curve in curves.items() if len(curve) >= _FEWEST}
    if told:
        yield _picture(told)


def _point(entry: FiguresEntry) -> tuple[Figure, dict[str, Figure]] | None:
    powers = {figure.channel: figure for figure in entry.figures if figure.name == "continuous_power"}
    power = powers.get(TOTAL) or next(iter(powers.values()), None)
    against = {figure.name: figure for figure in entry.figures if figure.name in _PANELS and not figure.channel}
    return (power, against) if power is not None and "efficiency" in against else None


def _name(run_record: RunRecord, entry: FiguresEntry) -> str:
    found = replace(entry.conditions, level_v=None, drive="")
    return str(found.without(run_record.usual))


def _picture(curves: dict[str, _Curve]) -> Picture:
    title = "Efficiency and supply current against output power"
    alt = f"{title}. " + " ".join(_told(name, curve) for name, curve in curves.items())
    with drawing(2, panel_in=3.0, legend_lines=lines_of(len(curves), _COLUMNS)) as (figure, panels):
        for place, (name, curve) in enumerate(curves.items()):
            for panel, what in zip(panels, _PANELS, strict=True):
                _plot(panel, [(power, against[what]) for power, against in curve if what in against], place, name)
        panels[0].set_ylabel("efficiency, %")
        panels[1].set(ylabel="current, A", xlabel="output power, all channels, W")
        legend(figure, panels[0], _COLUMNS)
        svg = svg_of(figure, "efficiency", alt)
    files = [file for curve in curves.values() for power, _ in curve for file in power.capture.split()]
    caption = f"Bars: value ± U. From {files[0]} to {files[-1]}."
    return Picture("efficiency", title, caption, alt, svg)


def _plot(panel: Axes, points: Sequence[tuple[Figure, Figure]], place: int, name: str) -> None:
    said = [(power.value, *as_said(figure)) for power, figure in points]
    watts, values, uncertainties = zip(*said, strict=True) if said else ((), (), ())
    panel.errorbar(watts, values, uncertainties, fmt=f"{marker(place)}-", color=colour(place), capsize=2.0, label=name)


def _told(name: str, curve: _Curve) -> str:
    points = (
        f"{value_in_words(against['efficiency'])} {unit_in_words(against['efficiency'])} at "
        f"{power.bound} {power.value:.3g} W".replace("  ", " ")
        for power, against in curve
    )
    return f"{name}: {', '.join(points)}."
