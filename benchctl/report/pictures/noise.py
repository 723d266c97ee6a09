"""The noise of the undriven outputs against frequency, with the oscilloscope's own, and its strongest lines by name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes

from benchctl.archive.journal.entries import FiguresEntry, context_of
from benchctl.measure.analyses.noise_figures import NamedLine, NoiseContext, records_of, strongest_lines
from benchctl.measure.noise.spectrum import NoiseSpectrum
from benchctl.measure.signal.record import Capture, Samples
from benchctl.quantity import render
from benchctl.report.pictures.canvas import DASHES, INK, Picture, colour, drawing, legend, lines_of, quantities, svg_of
from benchctl.report.pictures.records import capture_of
from benchctl.report.reading.run_record import RunRecord

_MOST = 4  # pictures of a run
_COLUMNS = 2
_AN_OCTAVE = 24  # bands, of which the strongest line is drawn
_HIGHEST = 4.0  # above the strongest line, so that its name has room


def noise_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """One for each record of noise, up to a useful number."""
    measured = [entry for entry in run_record.entries if entry.analysis == "noise"]
    for number, entry in enumerate(measured[:_MOST], start=1):
        captures = {role: capture_of(run_record.folder, file) for role, file in entry.captures.items()}
        yield _picture(entry, captures, f"noise-{number}")


def _picture(entry: FiguresEntry, captures: Mapping[str, Capture], name: str) -> Picture:
    context = context_of(entry)
    channels = captures["noise"].channels
    lines = {channel: strongest_lines(captures, channel, context) for channel in channels}
    alt = " ".join(_told(channel, lines[channel]) for channel in channels)
    series = len(channels) * (2 if len(captures) > 1 else 1)
    with drawing(panel_in=2.8, legend_lines=lines_of(series, _COLUMNS)) as (figure, (axes,)):
        width_hz = records_of(captures, channels[0], context)[0].spectrum.line_hz
        axes.set(xscale="log", yscale="log", xlabel="frequency, Hz", ylabel=f"noise, V RMS in {render(width_hz, 'Hz')}")
        for place, channel in enumerate(channels):
            _plot(axes, captures, channel, context, place)
        _name(axes, [line for channel in channels for line in lines[channel]])
        for axis, unit in ((axes.xaxis, "Hz"), (axes.yaxis, "V")):
            axis.set_major_formatter(quantities(unit))
        axes.minorticks_off()
        legend(figure, axes, _COLUMNS)
        svg = svg_of(figure, name, alt)
    files = " and ".join(entry.captures.values())
    caption = (
        f"Of each {_AN_OCTAVE}th of an octave the strongest line. Dotted: the oscilloscope by itself on the "
        f"same range, while the amplifier was off. Step {entry.step}, from {files}."
    )
    return Picture(name, "Noise of the undriven outputs against frequency", caption, alt, svg)


def _plot(axes: Axes, captures: Mapping[str, Capture], channel: str, context: NoiseContext, place: int) -> None:
    record, off = records_of(captures, channel, context)
    dashes = DASHES[place % len(DASHES)]
    axes.plot(*_drawn(record.spectrum), dashes, color=colour(place), label=channel, linewidth=1.0)
    if off is not None:
        drawn = _drawn(off.spectrum)
        dots = (0.0, (1.0, 1.5 * (1.0 + place)))
        axes.plot(*drawn, color=colour(place), label=f"{channel}, amplifier off", linewidth=1.0, linestyle=dots)


def _drawn(spectrum: NoiseSpectrum) -> tuple[Samples, Samples]:
    """The strongest line of each narrow band, in V RMS; a spectrum of thousands would be a block of ink."""
    bands = np.floor(np.log2(spectrum.frequencies_hz) * _AN_OCTAVE)
    starts = np.flatnonzero(np.diff(bands, prepend=-np.inf))
    ends = [*starts[1:].tolist(), bands.size]
    strongest = [
        start + int(np.argmax(spectrum.mean[start:end])) for start, end in zip(starts.tolist(), ends, strict=True)
    ]
    least = np.finfo(np.float64).tiny
    return spectrum.frequencies_hz[strongest], np.sqrt(np.maximum(spectrum.mean[strongest], least))


def _name(axes: Axes, lines: Sequence[NamedLine]) -> None:
    """The frequency of each strong line above it; what else is known of it is in the words beside the picture."""
    placed: dict[float, float] = {}
    for named in lines:
        placed[named.frequency_hz] = max(placed.get(named.frequency_hz, 0.0), named.line.rms_v)
    for frequency_hz, rms_v in placed.items():
        axes.annotate(
            render(frequency_hz, "Hz", digits=3),
            (frequency_hz, rms_v),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            rotation=90,
            fontsize=7.0,
            color=INK,
        )
    if placed:
        axes.set_ylim(top=max(axes.get_ylim()[1], _HIGHEST * max(placed.values())))


def _told(channel: str, lines: Sequence[NamedLine]) -> str:
    if not lines:
        return f"Noise of output {channel} against frequency: no line stands out of it."
    said = [
        f"{render(named.frequency_hz, 'Hz', digits=3)} {render(named.line.rms_v, 'V', digits=3)}"
        + (f" ({named.in_words})" if named.in_words else "")
        for named in lines
    ]
    return f"Noise of output {channel} against frequency. Its strongest lines: {', '.join(said)}."
