"""Which figures of two runs differ, and how clearly: each difference divided by its uncertainty."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchctl.archive.changes import Change, Occasion
from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import u_of_difference
from benchctl.measure.budget.words import burst_in_words
from benchctl.measure.conditions import Conditions
from benchctl.report.comparison.compared import Comparison
from benchctl.report.pictures.canvas import SOFT, Picture, colour, drawing, is_narrow, legend, marker, svg_of
from benchctl.report.sections.tables import step_in_short

_LINE_IN = 0.19


@dataclass(frozen=True)
class _Labels:
    """How many figures are shown, those that differ most clearly; the room for their names, and letters of a line."""

    most: int
    wide_in: float
    letters: int
    size_pt: float


_ON_A_PAGE, _NARROW = _Labels(20, 2.4, 60, 8.0), _Labels(7, 1.5, 22, 7.0)


def difference_pictures(comparison: Comparison) -> Iterator[Picture]:
    """One picture, if any figure of the runs has a difference with an uncertainty."""
    clear = {place: [_clearness(change) for change in changes] for place, changes in comparison.rows.items()}
    told = {place: ratios for place, ratios in clear.items() if any(ratio is not None for ratio in ratios)}
    chosen = sorted(told, key=lambda place: -max(abs(ratio or 0.0) for ratio in told[place]))[
        : (_NARROW if is_narrow() else _ON_A_PAGE).most
    ]
    if chosen:
        yield _picture(comparison, {place: told[place] for place in reversed(chosen)})


def _clearness(change: Change) -> float | None:
    """The difference over its expanded uncertainty; None where it has none."""
    before, after = change.before, change.after
    if before is None or after is None or before.expanded_uncertainty is None or after.expanded_uncertainty is None:
        return None
    uncertainty = u_of_difference(before, after)
    return (after.value - before.value) / uncertainty if uncertainty else None


def _picture(comparison: Comparison, rows: dict[Occasion, list[float | None]]) -> Picture:
    first, *others = comparison.names.each
    title = (
        "Differences over their uncertainty"
        if comparison.names.are_times
        else f"Differences from {first}, over their uncertainty"
    )
    alt = f"{title}. " + " ".join(f"{_label(place)}: {_told(ratios)}." for place, ratios in reversed(rows.items()))
    labels = _NARROW if is_narrow() else _ON_A_PAGE
    with drawing(panel_in=_LINE_IN * len(rows) + 0.2, legend_lines=1, left_in=labels.wide_in) as (figure, (axes,)):
        for number, other in enumerate(others):
            points = [(ratio, row) for row, ratios in enumerate(rows.values()) if (ratio := ratios[number]) is not None]
            at, lines = [ratio for ratio, _ in points], [row for _, row in points]
            axes.plot(at, lines, marker(number), color=colour(number), label=other)
        for bound in (-1.0, 1.0):
            axes.axvline(bound, color=SOFT, linewidth=1.0, linestyle=(0, (6, 3)))
        axes.set_yticks(range(len(rows)), [textwrap.fill(_label(place), labels.letters) for place in rows])
        axes.set_xscale("symlog", linthresh=1.0)
        axes.margins(x=0.1)
        axes.tick_params(axis="x", labelsize=7.0)
        axes.tick_params(axis="y", labelsize=labels.size_pt)
        axes.set(xlabel="difference over its U", ylim=(-0.7, len(rows) - 0.3))
        axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
        axes.minorticks_off()
        legend(figure, axes, columns=6, left_in=labels.wide_in)
        svg = svg_of(figure, "differences", alt)
    caption = f"Beyond the dashed lines a difference is significant. The {len(rows)} that differ most clearly."
    return Picture("differences", title, caption, alt, svg)


def _label(place: Occasion) -> str:
    """The step's number and turn, the figure, its channel, and what else makes it unique."""
    name, channel, cycles, load_ohm, frequency_hz = place.identity
    parts = [
        f"{step_in_short(place.step)} {figure_in_words(name)} {channel}".rstrip(),
        str(Conditions(load_ohm, frequency_hz)),
    ]
    return ", ".join(filter(None, [*parts, burst_in_words(cycles) if cycles else ""]))


def _told(ratios: Sequence[float | None]) -> str:
    return ", ".join("not told" if ratio is None else f"{ratio:.2g}" for ratio in ratios)
