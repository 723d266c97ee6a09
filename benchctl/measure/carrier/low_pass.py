"""A record without what lies above the band.

Power, peak and crest factor of a class D amplifier are those of the signal that is heard, not of the carrier that its
filter leaves: AES17 puts a low-pass before them that is flat to 20 kHz and takes 60 dB and more above 24 kHz.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchctl.measure.signal.record import OUTPUT, OUTPUT_CURRENT, Capture, Samples

# AES17, from memory: the pass band ends at 20 kHz and the stop band begins at 24 kHz.
STOP_BAND = 1.2
# The record goes on beyond either end as in a mirror, so that no edge rings into it and no sample there counts double.
_PERIODS_BEYOND = 40


def low_passed(capture: Capture, edge_hz: float | None) -> Capture:
    """The record with its outputs as they are up to `edge_hz`; as it is where it shows nothing above the stop band, or
    where `edge_hz` is None."""
    if edge_hz is None or STOP_BAND * edge_hz * capture.interval_s >= 0.5:
        return capture
    traces = {
        signal: replace(trace, within=band_of(trace.values(), capture.interval_s, edge_hz))
        if signal.startswith((OUTPUT, OUTPUT_CURRENT))
        else trace
        for signal, trace in capture.traces.items()
    }
    return replace(capture, traces=traces)


def band_of(values: Samples, interval_s: float, edge_hz: float) -> Samples:
    """What of `values`, shape (n,), lies below `edge_hz`: all up to there, and nothing from the stop band on."""
    beyond = min(math.ceil(_PERIODS_BEYOND / (edge_hz * interval_s)), values.size - 1)
    whole = np.concatenate([values[beyond:0:-1], values, values[-2 : -beyond - 2 : -1]])
    size = _quick_size(whole.size)
    # What is added for the transform's sake leads from the last value back to the first.
    whole = np.concatenate([whole, np.linspace(whole[-1], whole[0], size - whole.size)])
    gains = _gains(np.fft.rfftfreq(size, interval_s), edge_hz)
    filtered: Samples = np.fft.irfft(np.fft.rfft(whole) * gains, size)
    return filtered[beyond : beyond + values.size].copy()


def _gains(frequencies_hz: NDArray[np.floating[Any]], edge_hz: float) -> Samples:
    """1 up to the edge, 0 from the stop band on, and half a cosine between, which rings little."""
    part = np.clip((frequencies_hz / edge_hz - 1.0) / (STOP_BAND - 1.0), 0.0, 1.0)
    gains: Samples = (1.0 + np.cos(np.pi * part)) / 2.0
    return gains


def _quick_size(least: int) -> int:
    """The next number that has no prime factor above five: its transform is quick."""
    size = least
    while not _is_quick(size):
        size += 1
    return size


def _is_quick(size: int) -> bool:
    for factor in (2, 3, 5):
        while size % factor == 0:
            size //= factor
    return size == 1
