"""Gain and phase, crosstalk, distortion, or output impedance against frequency."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.markers import CARETDOWN

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import as_said, unit_in_words
from benchctl.measure.signal.record import Samples
from benchctl.quantity import render
from benchctl.report.pictures.canvas import DASHES, SOFT, Picture, colour, drawing, legend, marker, quantities, svg_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.words.names import listed

# What is drawn against frequency, each in its own panel, in this order.
_PANELS = ("gain", "phase", "crosstalk", "thd_n", "thd", "output_impedance")
_LOGARITHMIC = ("thd_n", "thd", "output_impedance")
_SHORT = {"output_impedance": "impedance"}
_FEWEST = 3  # frequencies: the table shows fewer better


def response_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """One for each analysis that has figures at several frequencies."""
    swept = [entry for entry in run_record.entries if _names(entry)]
    for number, entry in enumerate(swept, start=1):
        yield _picture(entry, _names(entry), f"response-{number}")


def _names(entry: FiguresEntry) -> list[str]:
    counts = {name: {f.frequency_hz for f in _of(entry, name) if f.frequency_hz} for name in _PANELS}
    return [name for name in _PANELS if len(counts[name]) >= _FEWEST]


def _of(entry: FiguresEntry, name: str) -> list[Figure]:
    return [figure for figure in entry.figures if figure.name == name]


def _picture(entry: FiguresEntry, names: Sequence[str], name: str) -> Picture:
    what = listed([figure_in_words(each) for each in names])
    load = f" into {render(entry.conditions.load_ohm, 'ohm')}" if entry.conditions.load_ohm else ""
    alt = f"{what[:1].upper()}{what[1:]} against frequency{load}. {_told(entry, names)}"
    with drawing(len(names), panel_in=0.8 + 1.4 * len(names), legend_lines=1) as (figure, panels):
        for panel, each in zip(panels, names, strict=True):
            _plot(panel, _of(entry, each))
            panel.set_ylabel(f"{_SHORT.get(each, figure_in_words(each))}, {unit_in_words(_of(entry, each)[0])}")
            _mark_edges(panel, entry)
            if each in _LOGARITHMIC:
                _by_decades(panel)
        panels[-1].set(xscale="log", xlabel="frequency, Hz")
        panels[-1].xaxis.set_major_formatter(quantities("Hz"))
        panels[-1].minorticks_off()
        legend(figure, panels[0], columns=6)
        svg = svg_of(figure, name, alt)
    files = list(dict.fromkeys(entry.captures.values()))
    through = f"{files[0]} to {files[-1]}" if len(files) > 1 else "".join(files)
    bounds = " Open marks: at most so much." if any(f.bound for each in names for f in _of(entry, each)) else ""
    caption = f"Bands: value ± U.{bounds} Step {entry.step}, from {through}."
    return Picture(name, f"{what[:1].upper()}{what[1:]} against frequency{load}", caption, alt, svg)


def _plot(panel: Axes, figures: Sequence[Figure]) -> None:
    for place, channel in enumerate(dict.fromkeys(figure.channel for figure in figures)):
        own = sorted(
            (f for f in figures if f.channel == channel and f.frequency_hz), key=lambda f: f.frequency_hz or 0.0
        )
        hertz, value, uncertainty = _curve([figure for figure in own if not figure.bound])
        panel.plot(
            hertz,
            value,
            color=colour(place),
            label=channel,
            marker=marker(place),
            markersize=3.0,
            linestyle=DASHES[place % len(DASHES)],
        )
        panel.fill_between(
            hertz, value - uncertainty, value + uncertainty, color=colour(place), alpha=0.18, linewidth=0
        )
        hertz, value, _ = _curve([figure for figure in own if figure.bound])
        panel.plot(hertz, value, color=colour(place), marker=CARETDOWN, markersize=4.0, linestyle="", fillstyle="none")


def _by_decades(panel: Axes) -> None:
    """A logarithmic axis over whole decades."""
    panel.set_yscale("log")
    low, high = panel.get_ylim()
    panel.set_ylim(10.0 ** math.floor(math.log10(low)), 10.0 ** math.ceil(math.log10(high)))
    panel.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    panel.minorticks_off()


def _curve(figures: Sequence[Figure]) -> tuple[Samples, Samples, Samples]:
    """Frequencies, values and uncertainties, as they are shown."""
    rows = [(figure.frequency_hz, *as_said(figure)) for figure in figures]
    hertz, value, uncertainty = np.array(rows, dtype=np.float64).reshape(-1, 3).T
    return hertz, value, uncertainty


def _mark_edges(panel: Axes, entry: FiguresEntry) -> None:
    for figure in entry.figures:
        if figure.name.endswith(("_band_edge", "_pass_corner")) and not figure.bound:
            panel.axvline(figure.value, color=SOFT, linewidth=1.0, linestyle=(0, (6, 3)))


def _told(entry: FiguresEntry, names: Sequence[str]) -> str:
    sentences = []
    for name in names:
        for channel in dict.fromkeys(figure.channel for figure in _of(entry, name)):
            own = [figure for figure in _of(entry, name) if figure.channel == channel and figure.frequency_hz]
            said, unit = [as_said(figure)[0] for figure in own if not figure.bound], unit_in_words(own[0])
            if said:
                sentences.append(f"{figure_in_words(name)} of {channel}: {min(said):.4g} to {max(said):.4g} {unit}.")
            if hidden := len(own) - len(said):
                is_what = "is only a bound" if name in _LOGARITHMIC else "is no more than noise"
                sentences.append(
                    f"{figure_in_words(name)} of {channel} {is_what} at {hidden} of {len(own)} frequencies."
                )
    return " ".join(sentences)
