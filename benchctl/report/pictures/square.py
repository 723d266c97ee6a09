"""A rising edge of a square wave as the oscilloscope saw it, at both levels and with a capacitor beside the load, each
over half of the step that it makes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.errors import MeasurementError
from benchctl.measure.analyses.square_figures import CAPACITIVE, LARGE, SMALL, role_of
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import unit_in_words, value_in_words
from benchctl.measure.shapes.square import square_wave
from benchctl.measure.signal.record import OUTPUT, Capture, Samples
from benchctl.quantity import render
from benchctl.report.pictures.canvas import DASHES, Picture, colour, drawing, legend, svg_of
from benchctl.report.pictures.records import capture_of, plot_envelope
from benchctl.report.reading.run_record import RunRecord

_MOST = 4  # pictures of a run
# What is shown of an edge: before its middle and after it, in rise times of the slowest.
_BEFORE, _AFTER = 2.0, 8.0
_CALLED: Mapping[str, str] = {
    SMALL: "20 dB below",
    LARGE: "at the level",
    CAPACITIVE: "20 dB below, with a capacitor",
}


def square_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """One for each frequency and channel, up to a useful number."""
    measured = [entry for entry in run_record.entries if entry.analysis == "square" and entry.figures]
    places = [
        (entry, frequency_hz, channel)
        for entry in measured
        for frequency_hz in dict.fromkeys(entry.context["waves_hz"].values())
        for channel in dict.fromkeys(figure.channel for figure in entry.figures)
    ]
    for number, (entry, frequency_hz, channel) in enumerate(places[:_MOST], start=1):
        yield _picture(run_record, entry, float(frequency_hz), channel, f"square-{number}")


def _picture(run_record: RunRecord, entry: FiguresEntry, frequency_hz: float, channel: str, name: str) -> Picture:
    files = {kind: entry.captures[role] for kind in _CALLED if (role := role_of(kind, frequency_hz)) in entry.captures}
    captures = {kind: capture_of(run_record.folder, file) for kind, file in files.items()}
    what = f"square wave of {render(frequency_hz, 'Hz')} at output {channel}"
    alt = f"The {what}. {_told(entry, frequency_hz, channel)}"
    rise_s = max(_rise_s(each, channel, frequency_hz) for each in captures.values())
    with drawing(panel_in=2.6, legend_lines=len(captures)) as (figure, (panel,)):
        for place, (kind, capture) in enumerate(captures.items()):
            times_s, values = _over_half_step(capture, channel, frequency_hz)
            shown = (times_s >= -_BEFORE * rise_s) & (times_s <= _AFTER * rise_s)
            dashes = DASHES[place % len(DASHES)]
            plot_envelope(panel, 1e6 * times_s[shown], values[shown], colour(place), label=_CALLED[kind], dashes=dashes)
        panel.set(xlabel="time from the middle of a rising edge, us", ylabel="output over half of its step")
        legend(figure, panel, 1)
        svg = svg_of(figure, name, alt)
    caption = (
        f"Each over half of its step, so that levels compare. Step {entry.step}, from {', '.join(files.values())}."
    )
    return Picture(name, f"{what[:1].upper()}{what[1:]}", caption, alt, svg)


def _rise_s(capture: Capture, channel: str, frequency_hz: float) -> float:
    values = capture.trace(OUTPUT + channel).values()
    return max(square_wave(values, capture.interval_s, frequency_hz).slowest.rise_s, 3.0 * capture.interval_s)


def _over_half_step(capture: Capture, channel: str, frequency_hz: float) -> tuple[Samples, Samples]:
    """Times from the middle of the first rising edge that has a half period before it, and the values over the height
    of its top."""
    values = capture.trace(OUTPUT + channel).values()
    seen = square_wave(values, capture.interval_s, frequency_hz)
    centred = values - (values.max() + values.min()) / 2.0
    half = round(0.5 / (frequency_hz * capture.interval_s))
    rising = np.flatnonzero((centred[:-1] < 0.0) & (centred[1:] >= 0.0))
    rising = rising[(rising > half // 2) & (rising < centred.size - half)]
    if not rising.size:
        raise MeasurementError("the record of the square wave shows no rising edge")
    times_s = (np.arange(values.size, dtype=np.float64) - float(rising[0])) * capture.interval_s
    return np.asarray(times_s, dtype=np.float64), np.asarray(centred / (seen.slowest.step / 2.0), dtype=np.float64)


def _told(entry: FiguresEntry, frequency_hz: float, channel: str) -> str:
    own = [figure for figure in entry.figures if figure.channel == channel and figure.frequency_hz == frequency_hz]
    return " ".join(f"{_sentence(figure)}." for figure in own)


def _sentence(figure: Figure) -> str:
    said = figure.name.replace("_", " ")
    return f"{said[:1].upper()}{said[1:]} {value_in_words(figure)} {unit_in_words(figure)}".rstrip()
