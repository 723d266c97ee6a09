"""What a class D amplifier leaves of its carrier, taken out of a record before it is thinned.

A thinned record would fold the carrier onto the tone. A low-pass at the edge of the audible band would take the corners
of a clipped sine too; so its edge is higher here, and a line that the record itself has folded below it is fitted where
the tone is quiet, and subtracted.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchctl.measure.carrier.low_pass import STOP_BAND, band_of
from benchctl.measure.signal.record import OUTPUT, Capture

Samples = NDArray[np.float64]

TIMES_BAND = 2.5
"""The edge of the low-pass, in widths of the band in which the amplifier counts."""

RINGING = 4.0
"""Periods of that edge."""

LINES = 2
"""That are looked for: a carrier and its second harmonic."""

STANDS_OUT = 30.0
"""Times the usual size of a line, so that it is no noise."""

HIGHEST_OF_QUIET = 15.0
"""Harmonic of a quiet tone, beyond which it has none: a line there is the carrier's."""

_LOWEST_HARMONIC = 8.0
_LEAST_SAMPLES = 256


def clear_of(band_hz: float | None) -> float:
    """For so long an edge of the signal, or of the record, rings in what `without_carrier` gives."""
    return 0.0 if band_hz is None else RINGING / (TIMES_BAND * band_hz)


def samples_apart(interval_s: float, band_hz: float | None) -> int:
    """So many samples apart the low-pass of `without_carrier` leaves no noise in common."""
    return 1 if band_hz is None else max(round(1.0 / (2.0 * TIMES_BAND * band_hz * interval_s)), 1)


def without_carrier(capture: Capture, band_hz: float | None, tone_hz: float, quiet_from_s: float) -> Capture:
    """The record without its carrier; as it is of an amplifier that has none (`band_hz` None).

    Args:
        capture: with outputs.
        band_hz: up to where the outputs count.
        tone_hz: its harmonics are no carrier.
        quiet_from_s: from here to the end only a quiet tone plays.
    """
    if band_hz is None:
        return capture
    first = max(round((quiet_from_s - capture.start_s) / capture.interval_s), 0)
    traces = dict(capture.traces)
    for signal, trace in capture.traces.items():
        if signal.startswith(OUTPUT):
            values = _without_lines(trace.values(), first, capture.interval_s, tone_hz)
            edge_hz = TIMES_BAND * band_hz
            if STOP_BAND * edge_hz * capture.interval_s < 0.5:
                values = band_of(values, capture.interval_s, edge_hz)
            traces[signal] = replace(trace, within=values)
    return replace(capture, traces=traces)


def _without_lines(values: Samples, first: int, interval_s: float, tone_hz: float) -> Samples:
    # A quiet tone has no high harmonics; a loud one may have all of them.
    highest_harmonic = HIGHEST_OF_QUIET if first else np.inf
    if len(values) - first < _LEAST_SAMPLES:
        return values
    for _ in range(LINES):
        line_hz = _line_hz(values[first:], interval_s, tone_hz, highest_harmonic)
        if line_hz is None:
            return values
        line_hz = _refined(values[first:], interval_s, line_hz)
        turns = 2.0 * np.pi * line_hz * interval_s * np.arange(len(values))
        waves = np.stack([np.cos(turns), np.sin(turns)], axis=1)
        parts, *_ = np.linalg.lstsq(waves[first:], values[first:], rcond=None)
        values = values - waves @ parts
    return values


def _refined(values: Samples, interval_s: float, line_hz: float) -> float:
    """From how far the line's phase moves between the two halves of the values."""
    half = len(values) // 2
    window = np.hanning(half)
    for _ in range(2):
        turned = np.exp(-2j * np.pi * line_hz * interval_s * np.arange(2 * half))
        first, second = ((values[part] * turned[part] * window).sum() for part in (slice(half), slice(half, 2 * half)))
        line_hz += float(np.angle(second * np.conj(first))) / (2.0 * np.pi * half * interval_s)
    return line_hz


def _line_hz(values: Samples, interval_s: float, tone_hz: float, highest_harmonic: float) -> float | None:
    """The strongest line that is no harmonic of the tone up to its highest, from three points of a windowed spectrum
    around its peak."""
    window = np.hanning(len(values))
    sizes = np.abs(np.fft.rfft(values * window))
    frequencies_hz = np.fft.rfftfreq(len(values), interval_s)
    order = frequencies_hz / tone_hz
    width = 3.0 / (len(values) * interval_s * tone_hz)
    is_harmonic = (np.abs(order - np.rint(order)) <= min(width, 0.4)) & (order < highest_harmonic)
    others = (order > _LOWEST_HARMONIC) & ~is_harmonic
    others[[0, -1]] = False
    if not others.any():
        return None
    peak = int(np.argmax(np.where(others, sizes, 0.0)))
    if sizes[peak] < STANDS_OUT * float(np.median(sizes[others])):
        return None
    below, at, above = np.log(np.maximum(sizes[peak - 1 : peak + 2], 1e-300))
    shift = (below - above) / (2.0 * (below - 2.0 * at + above)) if below + above < 2.0 * at else 0.0
    return float((peak + shift) / (len(values) * interval_s))
