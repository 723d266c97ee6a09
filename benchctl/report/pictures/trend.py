"""What the guard read from the first second of the run to its last, with the steps marked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from benchctl.report.pictures.canvas import DASHES, SOFT, Picture, colour, drawing, svg_of
from benchctl.report.pictures.records import plot_envelope
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.reading.step_history import StepTaken

_APART = 0.04  # of the run's time: of steps that begin closer together, only the first is marked
_HOUR_S, _MINUTE_S = 3600.0, 60.0


def trend_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """One picture, if there are samples."""
    if run_record.trend is None or len(run_record.trend) < 2:
        return
    trend = run_record.trend
    panels_of = [(label, columns) for label, columns in _panels(trend) if columns]
    unit, scale_s = _time_unit(float(trend["time_s"].iloc[-1]))
    alt = f"What the guard read over {trend['time_s'].iloc[-1]:.0f} s. {_told(trend)}"
    with drawing(len(panels_of), panel_in=1.2 * len(panels_of)) as (figure, panels):
        for panel, (label, columns) in zip(panels, panels_of, strict=True):
            for place, column in enumerate(columns):
                _plot(panel, trend, column, place, scale_s)
            panel.set_ylabel(label)
            if len(columns) > 1:
                panel.legend(ncols=len(columns), loc="best")
        _mark_steps(panels, run_record.steps, scale_s)
        panels[-1].set_xlabel(f"time, {unit}")
        svg = svg_of(figure, "trend", alt)
    caption = (
        "Dotted: a step begins. From trend.csv; the numbers are those of the steps in the course of the run, not each "
        "that begins soon after another."
    )
    yield Picture("trend", "Supply and temperatures over the run", caption, alt, svg)


def _panels(trend: pd.DataFrame) -> Iterator[tuple[str, list[str]]]:
    there = [str(column) for column in trend.columns if trend[column].notna().any()]
    yield "current, A", [column for column in there if column.startswith("supply_current")]
    yield "voltage, V", [column for column in there if column.startswith("supply_voltage")]
    yield "temperature, °C", [column for column in there if column.endswith("_c")]


def _time_unit(span_s: float) -> tuple[str, float]:
    if span_s > 3 * _HOUR_S:
        return "h", _HOUR_S
    return ("min", _MINUTE_S) if span_s > 3 * _MINUTE_S else ("s", 1.0)


def _plot(panel: Axes, trend: pd.DataFrame, column: str, place: int, scale_s: float) -> None:
    read = trend[["time_s", column]].dropna()
    times = read["time_s"].to_numpy(np.float64) / scale_s
    dashes = DASHES[place % len(DASHES)]
    values = read[column].to_numpy(np.float64)
    plot_envelope(panel, times, values, colour(place), label=column.removesuffix("_c"), dashes=dashes)


def _mark_steps(panels: Sequence[Axes], steps: Sequence[StepTaken], scale_s: float) -> None:
    span_s = max((step.finished_s or step.started_s for step in steps), default=0.0)
    last_s = -span_s
    for number, step in enumerate(steps, start=1):
        if step.started_s - last_s >= _APART * span_s:
            for panel in panels:
                panel.axvline(step.started_s / scale_s, color=SOFT, linewidth=0.6, linestyle=":")
            last_s = step.started_s
            panels[0].annotate(
                str(number),
                (step.started_s / scale_s, 1.0),
                xycoords=("data", "axes fraction"),
                xytext=(1, 1),
                textcoords="offset points",
                fontsize=7.0,
                color=SOFT,
            )


def _told(trend: pd.DataFrame) -> str:
    columns = [str(column) for column in trend.columns if column != "time_s" and trend[column].notna().any()]
    return " ".join(f"{column}: {trend[column].min():.4g} to {trend[column].max():.4g}." for column in columns)
