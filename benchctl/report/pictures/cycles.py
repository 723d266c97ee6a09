"""The power of each cycle of a burst, with the cycles that the figures come from marked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from benchctl.archive.journal.entries import FiguresEntry, context_of
from benchctl.measure.analyses.burst_figures import chosen_cycles, cycle_powers
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import burst_in_words, value_in_words
from benchctl.measure.conditions import Conditions
from benchctl.measure.signal.record import Samples
from benchctl.report.pictures.canvas import Picture, colour, drawing, legend, marker, svg_of
from benchctl.report.pictures.records import capture_of
from benchctl.report.reading.run_record import RunRecord

CHOSEN = ("first", "highest", "lowest", "last")


def cycle_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """One for the longest burst of each step that has bursts of more than one cycle."""
    longest: dict[str, FiguresEntry] = {}
    for entry in run_record.entries:
        if entry.analysis == "burst" and _cycles(entry) > _cycles(longest.get(entry.step)):
            longest[entry.step] = entry
    for number, entry in enumerate(longest.values(), start=1):
        yield _picture(run_record, entry, f"cycles-{number}")


def _cycles(entry: FiguresEntry | None) -> int:
    """How many cycles its bursts have; a single cycle gives no picture."""
    return 1 if entry is None else int(entry.context.get("cycles", 1))


def _picture(run_record: RunRecord, entry: FiguresEntry, name: str) -> Picture:
    context = context_of(entry)
    records = {drive: capture_of(run_record.folder, file) for drive, file in entry.captures.items()}
    powers = {
        drive: cycle_powers(records.get(f"{drive} fine", records[drive]), context)
        for drive in ("full", "clean")
        if drive in records
    }
    at = Conditions(entry.conditions.load_ohm, entry.conditions.frequency_hz)
    burst = f"a burst of {burst_in_words(context.cycles)} into {at}"
    alt = f"Power against the number of the cycle in {burst}. {_told(entry.figures)}"
    with drawing(legend_lines=max(len(watts) for watts in powers.values())) as (figure, (axes,)):
        for drive, watts in powers.items():
            _plot(axes, watts, drive)
        _mark(axes, entry.figures, powers.get("full", {}))
        axes.set(xlabel="cycle of the burst", ylabel="power, W")
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.margins(x=0.06, y=0.25)
        legend(figure, axes, columns=len(powers))
        svg = svg_of(figure, name, alt)
    drives = ", ".join(f"{drive} drive from {file}" for drive, file in entry.captures.items())
    caption = (
        f"At full drive the first cycle just reaches {100.0 * context.thd_n:g} % of distortion and the rails droop "
        f"under the rest; at clean drive every cycle keeps it. {drives[:1].upper()}{drives[1:]}."
    )
    return Picture(name, f"Power of each cycle in {burst}", caption, alt, svg)


def _told(figures: Sequence[Figure]) -> str:
    """The chosen cycles of each channel in words."""
    channels = dict.fromkeys(figure.channel for figure in figures if figure.name == "burst_power_first")
    return " ".join(
        f"Channel {channel} at full drive: "
        + ", ".join(
            f"{which} {value_in_words(figure)} W"
            for which in CHOSEN
            for figure in figures
            if (figure.name, figure.channel) == (f"burst_power_{which}", channel)
        )
        + "."
        for channel in channels
        if channel != TOTAL
    )


def _plot(axes: Axes, powers: dict[str, Samples], drive: str) -> None:
    for place, (channel, watts) in enumerate(powers.items()):
        numbers = np.arange(1, watts.size + 1)
        axes.plot(
            numbers,
            watts,
            "-" if drive == "full" else ":",
            color=colour(place),
            marker=marker(place),
            markersize=3.0,
            fillstyle="full" if drive == "full" else "none",
            label=f"{channel}, {drive} drive",
        )


def _mark(axes: Axes, figures: Sequence[Figure], powers: dict[str, Samples]) -> None:
    """Rings around the chosen cycles of each channel; the strongest also gets a text, with nothing above it."""
    strongest = max(powers, key=lambda channel: float(powers[channel].max()), default="")
    for place, (channel, watts) in enumerate(powers.items()):
        for cycle, names in _chosen(figures, channel, watts).items():
            at = (cycle + 1, float(watts[cycle]))
            axes.plot([at[0]], [at[1]], "o", markersize=8.0, markerfacecolor="none", markeredgecolor=colour(place))
            if channel == strongest:
                aside = (0, -14) if names == ["lowest"] else (0, 8)  # it may be next to the last one
                side = "left" if cycle == 0 else "right"
                axes.annotate(", ".join(names), at, xytext=aside, textcoords="offset points", ha=side)


def _chosen(figures: Sequence[Figure], channel: str, watts: Samples) -> dict[int, list[str]]:
    """Cycle, counted from 0 -> the figures that come from it."""
    there = {(figure.name, figure.channel) for figure in figures}
    names: dict[int, list[str]] = {}
    for which, cycle in chosen_cycles(watts).items():
        if (f"burst_power_{which}", channel) in there:
            names.setdefault(cycle, []).append(which)
    return names
