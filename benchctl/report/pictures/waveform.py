"""One burst as the oscilloscope saw it, at clean drive: the outputs, and the supply at the same time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes

from benchctl.archive.journal.entries import FiguresEntry, context_of
from benchctl.measure.budget.words import burst_in_words
from benchctl.measure.conditions import Conditions
from benchctl.measure.signal.record import SUPPLY_CURRENT, SUPPLY_VOLTAGE, Capture
from benchctl.report.pictures.canvas import SOFT, Picture, colour, drawing, legend, lines_of, svg_of
from benchctl.report.pictures.records import capture_of, plot_envelope
from benchctl.report.reading.run_record import RunRecord

# Parts of the burst's length that are shown before it, and after it for the recharge.
_BEFORE, _BEHIND = 0.1, 0.6
_COLUMNS = 3
# Outputs mostly play the same: each is a narrower line than the one before, so that both are seen, also in grey print.
_THIN, _WIDER = 0.8, 2.4
_ALL = 10  # cycles that are all numbered


def waveform_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """One picture: the longest burst into the first load."""
    bursts = [entry for entry in run_record.entries if entry.analysis == "burst" and "clean" in entry.captures]
    if bursts:
        first = [entry for entry in bursts if _at(entry) == _at(bursts[0])]
        yield _picture(run_record, max(first, key=lambda entry: int(entry.context.get("cycles", 1))))


def _at(entry: FiguresEntry) -> Conditions:
    """The conditions without the level, which differs for each length of burst."""
    return replace(entry.conditions, level_v=None, drive="", driven=())


def _picture(run_record: RunRecord, entry: FiguresEntry) -> Picture:
    context = context_of(entry)
    whole = capture_of(run_record.folder, entry.captures["clean"])
    length_s = context.cycles / context.frequency_hz
    capture = _shown(whole, length_s)
    burst = f"a burst of {burst_in_words(context.cycles)} into {_at(entry)} at clean drive"
    outputs = [name for name in capture.traces if name.startswith("output ") and not name.startswith("output current")]
    supply = [name for name in (SUPPLY_CURRENT, SUPPLY_VOLTAGE) if name in capture.traces]
    alt = f"The waveform of {burst}. {_told(capture)}"
    ratios = [2.0, *[1.0] * len(supply)]
    panel_in, lines = 1.8 + 0.9 * len(supply), lines_of(len(outputs), _COLUMNS)
    with drawing(1 + len(supply), panel_in=panel_in, ratios=ratios, legend_lines=lines) as (figure, panels):
        for place, name in enumerate(outputs):
            _plot(panels[0], capture, name, place, width=_THIN + _WIDER * (len(outputs) - 1 - place))
        panels[0].set_ylabel("output, V")
        _number(panels[0], context.cycles, length_s)
        legend(figure, panels[0], _COLUMNS)
        for place, (panel, name) in enumerate(zip(panels[1:], supply, strict=True), start=len(outputs)):
            _plot(panel, capture, name, place)
            panel.set_ylabel(f"{name.removeprefix('supply ')}, {capture.traces[name].unit}")
        panels[-1].set_xlabel("time from the start of the burst, ms")
        svg = svg_of(figure, "waveform", alt)
    caption = (
        "Cycles are numbered. Each column shows the lowest and the highest of its samples. From "
        f"{entry.captures['clean']}."
    )
    return Picture("waveform", f"{burst[:1].upper()}{burst[1:]}", caption, alt, svg)


def _shown(capture: Capture, length_s: float) -> Capture:
    end_s = capture.start_s + capture.samples * capture.interval_s
    begin_s = max(capture.start_s, -_BEFORE * length_s)
    return capture.window(begin_s, min(end_s, (1.0 + _BEHIND) * length_s))


def _number(panel: Axes, cycles: int, length_s: float) -> None:
    """Each cycle by its number; of many, the first, each fifth and the last."""
    shown = [cycle for cycle in range(1, cycles + 1) if cycles <= _ALL or cycle in (1, cycles) or cycle % 5 == 0]
    for cycle in shown:
        panel.annotate(
            str(cycle),
            ((cycle - 0.5) * 1e3 * length_s / cycles, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, -2),
            textcoords="offset points",
            ha="center",
            va="top",
            fontsize=7.0,
            color=SOFT,
        )
    panel.margins(y=0.3)


def _plot(panel: Axes, capture: Capture, name: str, place: int, width: float = _THIN) -> None:
    times_ms = 1e3 * (capture.start_s + capture.interval_s * np.arange(capture.samples, dtype=np.float64))
    plot_envelope(panel, times_ms, capture.traces[name].values(), colour(place), label=name, width=width)


def _told(capture: Capture) -> str:
    extremes = {name: (trace.values(), trace.unit) for name, trace in capture.traces.items()}
    return " ".join(
        f"{name[:1].upper()}{name[1:]}: between {values.min():.4g} and {values.max():.4g} {unit}."
        for name, (values, unit) in extremes.items()
    )
