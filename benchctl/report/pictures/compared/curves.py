"""One curve for each run and channel: the run by colour and marker, the channel by its dashes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.markers import CARETDOWN, CARETUP

from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import as_said, unit_in_words
from benchctl.report.pictures.canvas import DASHES, colour, lines_of, marker

COLUMNS = 2
_MOST_BARS = 6  # of one curve; of more points, a band shows the uncertainty
_APART = 0.07  # of the distance between two places that are no numbers


@dataclass(frozen=True)
class Curve:
    """One run's figures of one channel: the place of each on the axis, and the figure."""

    run: int
    name: str
    channel: str
    points: Sequence[tuple[float, Figure]]

    @property
    def label(self) -> str:
        """The run and the channel, as in: A after."""
        return f"{self.name}, {self.channel}" if self.channel else self.name


def legend_lines(curves: Sequence[Curve]) -> int:
    """How many lines the names need above the panels."""
    return lines_of(len({curve.label for curve in curves}), COLUMNS)


def draw(axes: Axes, curves: Sequence[Curve], *, is_apart: bool = False) -> None:
    """All curves into one panel, in the unit that people say the figures in. With `is_apart` the runs stand side by
    side at each place, where the places are no numbers."""
    channels = list(dict.fromkeys(curve.channel for curve in curves))
    runs = sorted({curve.run for curve in curves})
    for curve in curves:
        aside = _APART * (runs.index(curve.run) - (len(runs) - 1) / 2.0) if is_apart else 0.0
        said = [(at + aside, *as_said(figure), figure.bound) for at, figure in sorted(curve.points, key=_place)]
        places, values, uncertainties, _ = zip(*said, strict=True)
        shade = colour(curve.run)
        look: dict[str, Any] = {
            "marker": marker(curve.run),
            "linestyle": DASHES[channels.index(curve.channel) % len(DASHES)],
            "color": shade,
            "markerfacecolor": shade if curve.run else "none",
            "label": curve.label,
        }
        if len(said) > _MOST_BARS:
            axes.plot(places, values, **look)
            _band(axes, places, values, uncertainties, shade)
        else:
            axes.errorbar(places, values, uncertainties, capsize=2.0, **look)
        for bound, caret in (("at least", CARETUP), ("at most", CARETDOWN)):
            shown = [(at, value) for at, value, _, is_bound in said if is_bound == bound]
            if shown:
                at, value = zip(*shown, strict=True)
                axes.plot(at, value, linestyle="none", marker=caret, markersize=9.0, color=shade)


def _band(
    axes: Axes, places: Sequence[float], values: Sequence[float], uncertainties: Sequence[float], shade: str
) -> None:
    low = [value - uncertainty for value, uncertainty in zip(values, uncertainties, strict=True)]
    high = [value + uncertainty for value, uncertainty in zip(values, uncertainties, strict=True)]
    axes.fill_between(places, low, high, color=shade, alpha=0.12, linewidth=0)


def _place(point: tuple[float, Figure]) -> float:
    return point[0]


def bounds_in_words(curves: Sequence[Curve]) -> str:
    """What the arrows mean, where there are any."""
    bounds = {figure.bound for curve in curves for _, figure in curve.points}
    words: Mapping[str, str] = {
        "at least": "Arrow upward: at least so much.",
        "at most": "Arrow downward: at most so much.",
    }
    return " ".join(words[bound] for bound in ("at least", "at most") if bound in bounds)


def told(curves: Sequence[Curve]) -> Iterator[str]:
    """Each curve in words: its lowest and its highest value."""
    for curve in curves:
        figures = [figure for _, figure in curve.points]
        values = [as_said(figure)[0] for figure in figures]
        yield f"{curve.label}: {min(values):.4g} to {max(values):.4g} {unit_in_words(figures[0])}.".replace(" .", ".")
