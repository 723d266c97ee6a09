"""Figures of one unit from run to run, with their uncertainty, and a mark where something was noted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from benchctl.measure.budget.words import as_said, unit_in_words
from benchctl.report.life.curves import Group, groups_of
from benchctl.report.life.unit_life import UnitLife
from benchctl.report.pictures.canvas import WARNING, Picture, drawing, legend, lines_of, svg_of
from benchctl.report.pictures.compared.curves import COLUMNS, Curve, bounds_in_words, draw, told
from benchctl.report.pictures.over_months.calendar import days, set_calendar
from benchctl.report.words.quantities import scale_for

_LONGEST_OF_TWO = 30  # letters of a name, where two names stand beside each other above the panel


def life_pictures(life: UnitLife, noted: Sequence[datetime]) -> Iterator[Picture]:
    """A picture for each group of figures that two runs have; `noted`: when repairs and other notes were written."""
    began = [each.began for each in life.runs]
    for number, group in enumerate(groups_of(life.together), start=1):
        yield _picture(group, began, noted, f"life-{number}")


def _picture(group: Group, began: Sequence[datetime], noted: Sequence[datetime], name: str) -> Picture:
    at = days(began)
    curves = [
        Curve(place, curve.label, "", [(at[run], figure) for run, figure in curve.points])
        for place, curve in enumerate(group.curves)
    ]
    alt = f"{group.title} over time, {began[0]:%Y-%m-%d} to {began[-1]:%Y-%m-%d}. {' '.join(told(curves))}"
    columns = 1 if max(len(curve.label) for curve in curves) > _LONGEST_OF_TWO else COLUMNS
    with drawing(panel_in=2.4, legend_lines=lines_of(len(curves), columns)) as (figure, (axes,)):
        draw(axes, curves)
        _name_values(axes, curves)
        if group.is_power:  # half as much shall look like half as much
            axes.set_ylim(bottom=0.0)
        set_calendar(axes, [*began, *noted])
        _mark_notes(axes, noted)
        legend(figure, axes, columns)
        svg = svg_of(figure, name, alt)
    return Picture(name, f"{group.title} over time", _caption(group, curves, noted), alt, svg)


def _name_values(axes: Axes, curves: Sequence[Curve]) -> None:
    """The unit at the axis, with the prefix that suits the values: 304 µV and not 0.000304 V."""
    figures = [figure for curve in curves for _, figure in curve.points]
    scale = scale_for([as_said(figure)[0] for figure in figures], unit_in_words(figures[0]))
    axes.set_ylabel(scale.unit)
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value / scale.one:g}"))


def _mark_notes(axes: Axes, noted: Sequence[datetime]) -> None:
    """A line for each, with its number at the top."""
    for number, place in enumerate(days(noted) if noted else (), start=1):
        axes.axvline(place, color=WARNING, linewidth=0.9, linestyle="--")
        axes.annotate(
            f"{number}",
            (place, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(2, -8),
            textcoords="offset points",
            fontsize=7.5,
            color=WARNING,
        )


def _caption(group: Group, curves: Sequence[Curve], noted: Sequence[datetime]) -> str:
    marks = "Dashed lines: repairs and notes, by their numbers in the course." if noted else ""
    left = f"{group.left} more of this kind are on the pages of the runs." if group.left else ""
    return " ".join(filter(None, ["Bars, bands: value ± U.", bounds_in_words(curves), marks, left]))
