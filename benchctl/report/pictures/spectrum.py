"""The spectrum of a steady tone at its clean level, with its harmonics by their numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes

from benchctl.archive.journal.entries import FiguresEntry, context_of
from benchctl.measure.signal.distortion import ToneSpectrum, tone_spectrum
from benchctl.measure.signal.record import OUTPUT, Capture, Samples
from benchctl.report.pictures.canvas import (
    DASHES,
    SOFT,
    Picture,
    colour,
    drawing,
    legend,
    lines_of,
    quantities,
    svg_of,
)
from benchctl.report.pictures.records import capture_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.words.names import place_of
from benchctl.report.words.quantities import setting

_MOST = 2  # pictures of a run
_COLUMNS = 4
_AN_OCTAVE = 24  # bands, of which the strongest line is drawn
_HIGHEST_HZ = 100e3  # beyond lies what neither is heard nor told of an amplifier for audio
_HARMONICS = range(2, 10)


def spectrum_pictures(run_record: RunRecord) -> Iterator[Picture]:
    """One for each load, frequency and voltage at which a steady tone was measured at its clean level."""
    found: dict[object, FiguresEntry] = {}
    for entry in run_record.entries:
        if entry.analysis == "continuous" and entry.conditions.drive == "clean" and "continuous" in entry.captures:
            found.setdefault(replace(entry.conditions, level_v=None), entry)
    for number, entry in enumerate(list(found.values())[:_MOST], start=1):
        yield _picture(run_record, entry, f"spectrum-{number}")


def _picture(run_record: RunRecord, entry: FiguresEntry, name: str) -> Picture:
    capture = capture_of(run_record.folder, entry.captures["continuous"])
    tones = _tones(capture, context_of(entry).frequency_hz)
    first = next(iter(tones.values()))
    what = f"a tone of {setting(first.fit.frequency_hz, 'Hz')} {place_of(replace(entry.conditions, frequency_hz=None))}"
    title = f"Spectrum of {what.rstrip()} at its clean level"
    alt = f"{title}. " + " ".join(_told(channel, tone) for channel, tone in tones.items())
    with drawing(panel_in=2.6, legend_lines=lines_of(len(tones), _COLUMNS)) as (figure, (axes,)):
        for place, (channel, tone) in enumerate(tones.items()):
            hertz, decibels = _drawn(tone)
            dashes = DASHES[place % len(DASHES)]
            axes.plot(hertz, decibels, dashes, color=colour(place), linewidth=1.0, label=channel)
        axes.set(xscale="log", xlabel="frequency, Hz", ylabel="against the tone, dB", ylim=(None, 5.0))
        axes.xaxis.set_major_formatter(quantities("Hz"))
        axes.minorticks_off()
        _number(axes, list(tones.values()))
        legend(figure, axes, _COLUMNS)
        svg = svg_of(figure, name, alt)
    caption = (
        f"Of each {_AN_OCTAVE}th of an octave the strongest line, against the tone itself; harmonics by their numbers. "
        f"The oscilloscope's own noise is in it. From {entry.captures['continuous']}."
    )
    return Picture(name, title, caption, alt, svg)


def _tones(capture: Capture, frequency_hz: float) -> dict[str, ToneSpectrum]:
    return {
        channel: tone_spectrum(capture.trace(OUTPUT + channel).values(), capture.interval_s, frequency_hz)
        for channel in capture.channels
    }


def _drawn(tone: ToneSpectrum) -> tuple[Samples, Samples]:
    """The strongest line of each narrow band in decibels against the tone, and the tone itself."""
    hertz = np.arange(1, tone.power.size, dtype=np.float64) * tone.line_hz
    shown = hertz <= min(_HIGHEST_HZ, tone.nyquist_hz)
    hertz, power = hertz[shown], tone.power[1:][shown].copy()
    power[np.argmin(np.abs(hertz - tone.fit.frequency_hz))] = tone.fit.rms**2
    bands = np.floor(np.log2(hertz) * _AN_OCTAVE)
    starts = np.flatnonzero(np.diff(bands, prepend=-np.inf))
    ends = [*starts[1:].tolist(), bands.size]
    strongest = [start + int(np.argmax(power[start:end])) for start, end in zip(starts.tolist(), ends, strict=True)]
    return hertz[strongest], _decibels(tone, power[strongest])


def _decibels(tone: ToneSpectrum, power: Samples) -> Samples:
    least = np.finfo(np.float64).tiny
    return np.asarray(10.0 * np.log10(np.maximum(power, least) / tone.fit.rms**2), dtype=np.float64)


def harmonic_db(tone: ToneSpectrum, order: int) -> float | None:
    """A harmonic against the tone, in decibels; None where the record does not reach that high."""
    line = round(order * tone.fit.frequency_hz / tone.line_hz)
    return float(_decibels(tone, tone.power[line : line + 1])[0]) if line < tone.power.size else None


def _number(axes: Axes, tones: Sequence[ToneSpectrum]) -> None:
    """The number of each harmonic above the stronger of the channels."""
    for order in _HARMONICS:
        seen = [level for tone in tones if (level := harmonic_db(tone, order)) is not None]
        hertz = order * tones[0].fit.frequency_hz
        if seen and hertz <= _HIGHEST_HZ:
            axes.annotate(
                str(order),
                (hertz, max(seen)),
                xytext=(0, 3),
                textcoords="offset points",
                ha="center",
                fontsize=7.0,
                color=SOFT,
            )


def _told(channel: str, tone: ToneSpectrum) -> str:
    seen = ((order, harmonic_db(tone, order)) for order in _HARMONICS)
    said = ", ".join(f"{order} at {level:.0f} dB" for order, level in seen if level is not None)
    return (
        f"Harmonics of {channel} against the tone: {said}." if said else f"The record of {channel} shows no harmonic."
    )
