"""A control chart: every value on its day, the centre line and the limits of each phase."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Any

from matplotlib.axes import Axes

from benchctl.archive.drift.series import MATTERS_FROM, Phase, Series
from benchctl.archive.drift.value import Dated
from benchctl.report.drift.wording import finding_of, value_in_words
from benchctl.report.pictures.canvas import INK, SERIES, SOFT, WARNING, Picture, drawing, legend, svg_of
from benchctl.report.pictures.over_months.calendar import days, set_calendar
from benchctl.report.words.days import day_of
from benchctl.report.words.quantities import scale_for

_COLUMNS = 4


def chart_pictures(series: Sequence[Series]) -> Iterator[Picture]:
    """A chart for each series that has two values at least."""
    for number, each in enumerate(series, start=1):
        if sum(len(phase.points) for phase in each.phases) > 1:
            yield _picture(each, f"chart-{number}")


def _picture(series: Series, name: str) -> Picture:
    found, scale = finding_of(series), _scale_of(series)
    points = [point for phase in series.phases for point in phase.points]
    with drawing(panel_in=2.2, legend_lines=1) as (figure, (axes,)):
        for phase in series.phases:
            _draw_values(axes, phase, scale)
            _draw_limits(axes, phase, scale)
        _mark_phases(axes, series.phases)
        axes.set(ylabel=scale.label, ylim=_span(series, scale, axes.get_ylim()))
        set_calendar(axes, [point.began for point in points])
        legend(figure, axes, _COLUMNS)
        said = ": ".join(filter(None, [found.word, found.text]))
        alt = f"Control chart of {series.reference.what}. {_told(series, points)} {said}."
        svg = svg_of(figure, name, alt)
    where = f" ({series.reference.where})" if series.reference.where else ""
    caption = f"{said[:1].upper()}{said[1:]}{where}. {found.means}".rstrip()
    title = series.reference.what[:1].upper() + series.reference.what[1:]
    return Picture(name, title, caption, alt, svg)


@dataclass(frozen=True)
class _Scale:
    """What the axis counts from, and in which unit."""

    label: str
    one: float
    zero: float = 0.0

    def shown(self, values: Iterable[float]) -> list[float]:
        return [(value - self.zero) / self.one for value in values]


def _scale_of(series: Series) -> _Scale:
    """Ratios as per cent above 1; anything else in a unit that suits."""
    if series.reference.kind == "gain":
        return _Scale("above 1, %", 0.01, 1.0)
    scale = scale_for([value for phase in series.phases for value in phase.values], series.reference.unit)
    return _Scale(scale.unit, scale.one)


def _span(series: Series, scale: _Scale, drawn: tuple[float, float]) -> tuple[float, float]:
    """From the lowest to the highest that is drawn, and at least what a change that matters would take."""
    phase = series.present
    middle, room = fmean(scale.shown(phase.values)), MATTERS_FROM * phase.allowed / scale.one
    return min(drawn[0], middle - room), max(drawn[1], middle + room)


def _draw_values(axes: Axes, phase: Phase, scale: _Scale) -> None:
    at, shown = days([point.began for point in phase.points]), scale.shown(phase.values)
    axes.plot(at, shown, color=SERIES[0], marker="o", linewidth=0.8, label=_once(axes, "value"))
    if outside := [place for place in range(len(at)) if phase.is_outside(place)]:
        look: dict[str, Any] = {"marker": "s", "markersize": 8.0, "fillstyle": "none", "linestyle": "none"}
        places = [at[place] for place in outside], [shown[place] for place in outside]
        axes.plot(*places, color=WARNING, label=_once(axes, "outside"), **look)


def _draw_limits(axes: Axes, phase: Phase, scale: _Scale) -> None:
    if (limits := phase.judged.limits) is None:
        return
    ends = days([phase.points[0].began, phase.points[-1].began])
    for value, dashes, name in (
        (limits.centre, "-", "centre line"),
        (limits.lower, "--", "limits"),
        (limits.upper, "--", "limits"),
    ):
        shown = scale.shown([value, value])
        axes.plot(
            ends, shown, color=INK if dashes == "-" else SOFT, linestyle=dashes, linewidth=1.0, label=_once(axes, name)
        )


def _once(axes: Axes, name: str) -> str:
    """A name for the legend, unless it is there; what begins with an underscore is left out of it."""
    return f"_{name}" if name in axes.get_legend_handles_labels()[1] else name


def _mark_phases(axes: Axes, phases: Sequence[Phase]) -> None:
    """A line where something was calibrated or exchanged."""
    for phase in phases[1:]:
        (begins,) = days([phase.points[0].began])
        axes.axvline(begins, color=SOFT, linewidth=0.8, linestyle=":")
        place: dict[str, Any] = {"xycoords": ("data", "axes fraction"), "xytext": (2, -8)}
        axes.annotate("anew", (begins, 1.0), textcoords="offset points", fontsize=7.0, color=SOFT, **place)


def _told(series: Series, points: Sequence[Dated]) -> str:
    first, last = points[0], points[-1]
    was, now = (value_in_words(series, point.given.value) for point in (first, last))
    return f"{len(points)} values, from {was} on {day_of(first.began)} to {now} on {day_of(last.began)}."
