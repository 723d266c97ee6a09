"""Clean power by length of burst and load, with the interval of each figure and the rating."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from matplotlib.axes import Axes

from benchctl.measure.power import TOTAL
from benchctl.measure.words import value_in_words
from benchctl.report.pictures.canvas import DASHES, SOFT, Picture, colour, drawing, legend, lines_of, marker, svg_of
from benchctl.report.rated_power import Length, PowerRow, length_in_words, lengths_of, power_rows
from benchctl.report.story import Story

_COLUMNS = 2
_APART = 0.12  # of the distance of two lengths: channels stand side by side


def power_pictures(story: Story) -> Iterator[Picture]:
    """One, where clean power was measured."""
    rows = [row for row in power_rows(story) if row.channel != TOTAL]
    if not rows:
        return
    lengths = lengths_of(rows)
    alt = "Clean power. " + " ".join(_told(row, lengths) for row in rows)
    with drawing(panel_in=2.6, legend_lines=lines_of(len(rows), _COLUMNS)) as (figure, (axes,)):
        _plot(axes, rows, lengths)
        _rate(axes, rows)
        axes.set(ylabel="clean power, W", ylim=(0.0, None), xlim=(-0.5, len(lengths) - 0.5))
        axes.set_xticks(range(len(lengths)), [length_in_words(length) for length in lengths])
        legend(figure, axes, _COLUMNS)
        svg = svg_of(figure, "power", alt)
    files = dict.fromkeys(file for row in rows for each in row.by_length.values() for file in each.capture.split())
    caption = f"Bars: value ± U. From {', '.join(files)}."
    yield Picture("power", "Clean power by load and length of burst", caption, alt, svg)


def _told(row: PowerRow, lengths: Sequence[Length]) -> str:
    values = ", ".join(
        f"{length_in_words(length)} {value_in_words(row.by_length[length])} W"
        for length in lengths
        if length in row.by_length
    )
    rated = f", rated {row.rated_w:g} W" if row.rated_w else ""
    return f"{row.conditions}, channel {row.channel}{rated}: {values}."


def _plot(axes: Axes, rows: Sequence[PowerRow], lengths: Sequence[Length]) -> None:
    channels = list(dict.fromkeys(row.channel for row in rows))
    conditions = list(dict.fromkeys((row.conditions, row.supply_v) for row in rows))
    supplies = {row.supply_v for row in rows}
    for row in rows:
        channel, dashes = (
            channels.index(row.channel),
            DASHES[conditions.index((row.conditions, row.supply_v)) % len(DASHES)],
        )
        there = [place for place, length in enumerate(lengths) if length in row.by_length]
        figures = [row.by_length[lengths[place]] for place in there]
        at = f"{row.conditions}, {row.supply_v:g} V" if len(supplies) > 1 and row.supply_v else row.conditions
        axes.errorbar(
            [place + _APART * (channel - (len(channels) - 1) / 2) for place in there],
            [figure.value for figure in figures],
            [figure.expanded_uncertainty or 0.0 for figure in figures],
            fmt=marker(channel),
            linestyle=dashes,
            color=colour(channel),
            capsize=2.5,
            label=f"{row.channel}: {at}",
        )


def _rate(axes: Axes, rows: Sequence[PowerRow]) -> None:
    """A line for the rating of each load."""
    for load_ohm, rated_w in dict.fromkeys((row.load_ohm, row.rated_w) for row in rows if row.rated_w):
        axes.axhline(rated_w, color=SOFT, linewidth=1.0, linestyle=(0, (6, 3)))
        axes.annotate(
            f"rated {rated_w:g} W into {load_ohm:g} ohm",
            (0.0, rated_w),
            xycoords=("axes fraction", "data"),
            xytext=(4, 3),
            textcoords="offset points",
            color=SOFT,
            fontsize=8.0,
        )
