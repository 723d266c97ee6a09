"""Distortion against level, from the searches for clean levels."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes

from benchctl.archive.journal.events import SEARCH
from benchctl.report.pictures.canvas import SOFT, Picture, colour, drawing, legend, lines_of, marker, svg_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.reading.step_history import StepTaken

_COLUMNS = 2
_MOST = 4
_FEWEST = 3  # exposures: two points are no curve


def distortion_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """One for each load and frequency at which clean levels were searched, up to a useful number."""
    points = list(dict.fromkeys(_point(event) for event in run_record.of_kind(SEARCH)))
    for number, point in enumerate(points[:_MOST], start=1):
        searches = [
            e for e in run_record.of_kind(SEARCH) if _point(e) == point and len(e.get("exposures", ())) >= _FEWEST
        ]
        if searches:
            yield _picture(searches, point, _bounds(searches, run_record.steps), f"distortion-{number}")


def _point(event: Mapping[str, Any]) -> str:
    """The text in brackets after a step's name; steps outside sweeps have only a name."""
    step = str(event.get("step", ""))
    return step.partition("[")[2].rstrip("]") or step


def _bounds(searches: Sequence[Mapping[str, Any]], steps: Sequence[StepTaken]) -> list[float]:
    labels = {search.get("step") for search in searches}
    return sorted(
        {float(step.settings["thd_n"]) for step in steps if step.label in labels and "thd_n" in step.settings}
    )


def _picture(searches: Sequence[Mapping[str, Any]], point: str, bounds: Sequence[float], name: str) -> Picture:
    alt = f"Distortion against the generator's level, {point}. " + " ".join(_told(search) for search in searches)
    with drawing(panel_in=2.6, legend_lines=lines_of(len(searches), _COLUMNS)) as (figure, (axes,)):
        for place, search in enumerate(searches):
            _plot(axes, search, place)
        for bound in bounds:
            axes.axhline(100.0 * bound, color=SOFT, linewidth=1.0, linestyle=(0, (6, 3)))
        axes.set(yscale="log", xlabel="generator level, V rms", ylabel="THD+N, %")
        axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        axes.minorticks_off()
        legend(figure, axes, _COLUMNS)
        svg = svg_of(figure, name, alt)
    events = ", ".join(str(search["number"]) for search in searches)
    caption = (
        "Dashed: the bound that was searched for. Hollow: not more than this, since the record's own floor is near. "
        f"The worst channel's, from the searches in journal events {events}; the records of a search are not kept."
    )
    return Picture(name, f"Distortion against level, {point}", caption, alt, svg)


def _plot(axes: Axes, search: Mapping[str, Any], place: int) -> None:
    exposures = sorted(search["exposures"], key=lambda exposure: exposure["level_v"])
    levels_v = [exposure["level_v"] for exposure in exposures]
    percents = [100.0 * exposure["distortion"] for exposure in exposures]
    axes.plot(levels_v, percents, color=colour(place), linewidth=1.0)
    for is_bound, fill in ((False, colour(place)), (True, "none")):
        chosen = [number for number, exposure in enumerate(exposures) if bool(exposure["is_bound"]) is is_bound]
        axes.plot(
            [levels_v[number] for number in chosen],
            [percents[number] for number in chosen],
            marker(place),
            markeredgecolor=colour(place),
            markerfacecolor=fill,
            label=str(search.get("what", "")) if not is_bound else None,
        )


def _told(search: Mapping[str, Any]) -> str:
    clean = [exposure["level_v"] for exposure in search["exposures"] if exposure.get("says") == "clean"]
    highest = f"clean up to {max(clean):.4g} V" if clean else "never clean"
    return f"{search.get('what', '')}: {len(search['exposures'])} exposures, {highest}."
