"""What several runs measured against frequency: gain, crosstalk, distortion, output impedance; each on its own grid."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import unit_in_words
from benchctl.quantity import render
from benchctl.report.comparison.compared import Comparison
from benchctl.report.pictures.canvas import Picture, drawing, legend, quantities, svg_of
from benchctl.report.pictures.compared.curves import COLUMNS, Curve, bounds_in_words, draw, legend_lines, told

_NAMES = ("gain", "crosstalk", "thd_n", "output_impedance")
_LOGARITHMIC = frozenset({"thd_n", "output_impedance"})
_FEWEST = 3  # frequencies
_MOST = 2  # pictures of one kind of figure


def response_overlays(comparison: Comparison) -> Iterator[Picture]:
    """One for each kind of figure and load that several runs have at enough frequencies."""
    for name in _NAMES:
        entries = [list(_entries(run_record.entries, name)) for run_record in comparison.run_records]
        loads = list(dict.fromkeys(entry.conditions.load_ohm for own in entries for entry in own))
        drawn = [picture for load_ohm in loads for picture in _at_load(comparison, entries, name, load_ohm)]
        yield from drawn[:_MOST]


def _entries(entries: Sequence[FiguresEntry], name: str) -> Iterator[FiguresEntry]:
    for entry in entries:
        if len({figure.frequency_hz for figure in _figures(entry, name)}) >= _FEWEST:
            yield entry


def _figures(entry: FiguresEntry, name: str) -> list[Figure]:
    return [figure for figure in entry.figures if figure.name == name and figure.frequency_hz]


def _at_load(
    comparison: Comparison, entries: Sequence[Sequence[FiguresEntry]], name: str, load_ohm: float | None
) -> Iterator[Picture]:
    """Of the first measurement of each run at this load."""
    curves = [
        curve
        for run, own in enumerate(entries)
        for entry in [each for each in own if each.conditions.load_ohm == load_ohm][:1]
        for curve in _curves(run, comparison.names.each[run], entry, name)
    ]
    if len({curve.run for curve in curves}) > 1:
        yield _picture(curves, name, load_ohm)


def _curves(run: int, called: str, entry: FiguresEntry, name: str) -> Iterator[Curve]:
    figures = _figures(entry, name)
    for channel in dict.fromkeys(figure.channel for figure in figures):
        own = [(figure.frequency_hz or 0.0, figure) for figure in figures if figure.channel == channel]
        yield Curve(run, called, channel, own)


def _picture(curves: Sequence[Curve], what: str, load_ohm: float | None) -> Picture:
    words = figure_in_words(what)
    at = f" into {render(load_ohm, 'ohm')}" if load_ohm else ""
    title = f"{words[:1].upper()}{words[1:]}{at} against frequency"
    alt = f"{title}. {' '.join(told(curves))}"
    name = f"{what.replace('_', '-')}-compared" + (f"-{load_ohm:g}-ohm" if load_ohm else "")
    with drawing(panel_in=2.4, legend_lines=legend_lines(curves)) as (figure, (axes,)):
        draw(axes, curves)
        axes.set(xscale="log", xlabel="frequency, Hz", ylabel=f"{words}, {unit_in_words(curves[0].points[0][1])}")
        axes.xaxis.set_major_formatter(quantities("Hz"))
        if what in _LOGARITHMIC:
            axes.set_yscale("log")
            low, high = axes.get_ylim()
            axes.set_ylim(10.0 ** math.floor(math.log10(low)), 10.0 ** math.ceil(math.log10(high)))
            axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        axes.minorticks_off()
        legend(figure, axes, COLUMNS)
        svg = svg_of(figure, name, alt)
    caption = f"Bars, bands: value ± U. {bounds_in_words(curves)} Each run at the frequencies that it measured."
    return Picture(name, title, caption.replace("  ", " "), alt, svg)
