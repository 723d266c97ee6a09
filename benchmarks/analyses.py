"""The analyses of a million samples, compared with one transform and with one sine and cosine of as many samples."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import scipy.fft

from benchctl.measure.analyses.by_step import burst
from benchctl.measure.signal.sine import find_frequency, fit_sine
from benchmarks.records import CHANNELS, FREQUENCY_HZ, INTERVAL_S, SAMPLES, burst_capture, burst_context, clipped_tone
from benchmarks.rows import Row
from benchmarks.timing import medians, peak_bytes

REPEATS = 7
SHORT_CYCLES, LONG_CYCLES = 20, 900


def rows() -> Iterator[Row]:
    """Burst analysis, its memory, and the four-parameter fit."""
    yield from (_burst(cycles) for cycles in (SHORT_CYCLES, LONG_CYCLES))
    yield from (_memory(cycles) for cycles in (SHORT_CYCLES, LONG_CYCLES))
    yield _fit()


def _burst(cycles: int) -> Row:
    capture, context = burst_capture(cycles), burst_context(cycles)
    volts = np.stack([trace.values() for trace in capture.traces.values()])
    analysis_s, transform_s = medians(
        lambda: burst({"full": capture}, {}, context), lambda: scipy.fft.rfft(volts, axis=1), repeats=REPEATS
    )
    return Row(
        f"burst analysis, {cycles} cycles in 2 x 1 MSa",
        f"{analysis_s / transform_s:.2f}",
        "at most 3",
        f"{analysis_s * 1e3:.0f} ms over one scipy.fft.rfft of the same in float64, {transform_s * 1e3:.0f} ms",
    )


def _memory(cycles: int) -> Row:
    capture, context = burst_capture(cycles), burst_context(cycles)
    held = peak_bytes(lambda: burst({"full": capture}, {}, context))
    codes = sum(trace.codes.nbytes for trace in capture.traces.values())
    return Row(
        f"memory of that analysis, {cycles} cycles",
        f"{held / codes:.2f}",
        "at most 6",
        f"{held / 1e6:.1f} MB at most over the record's codes, {codes / 1e6:.1f} MB for {len(CHANNELS)} channels",
    )


def _fit() -> Row:
    volts = clipped_tone(seed=3)
    radians = 2 * np.pi * FREQUENCY_HZ * INTERVAL_S * np.arange(SAMPLES)
    fit_s, evaluation_s = medians(
        lambda: fit_sine(volts, INTERVAL_S, find_frequency(volts, INTERVAL_S, FREQUENCY_HZ * 1.02)),
        lambda: (np.sin(radians), np.cos(radians)),
        repeats=REPEATS,
    )
    return Row(
        "four-parameter fit of 1 MSa, started 2 % off",
        f"{fit_s / evaluation_s:.2f}",
        "at most 1.5",
        f"{fit_s * 1e3:.1f} ms over sine and cosine at every sample, {evaluation_s * 1e3:.1f} ms",
    )
