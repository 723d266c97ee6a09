"""Records of a million samples for the analyses, made of closed forms and noise from a seed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchctl.measure.analyses.context import BurstContext
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.uncertainty import Accuracy, LoadResistance

Samples = NDArray[np.float64]

SAMPLES = 1_000_000
INTERVAL_S = 1e-6
FREQUENCY_HZ = 1000.0
LOW_LEVEL_RATIO = 0.1
CHANNELS = ("A", "B")
_FULL_SCALE_V = 100.0
_PEAK_V = 40.0
_CLIP_V = 38.0
_CODES = 4096  # of a 12-bit converter
_PRETRIGGER_S = 0.005
_CHAIN = (Accuracy(reading=0.005, range=0.001), Accuracy(reading=0.005))


def clipped_tone(seed: int) -> Samples:
    """A steady tone of 1 kHz, clipped to about 1 %, with half a step of noise."""
    time_s = np.arange(SAMPLES) * INTERVAL_S - _PRETRIGGER_S
    volts: Samples = np.clip(_PEAK_V * np.sin(2 * np.pi * FREQUENCY_HZ * time_s), -_CLIP_V, _CLIP_V)
    volts += np.random.default_rng(seed).normal(0.0, 0.5 * _FULL_SCALE_V / _CODES, SAMPLES)
    return volts


def burst_capture(cycles: int) -> Capture:
    """Two channels: a burst of this many cycles, then rest 20 dB lower to the end of the record."""
    time_s = np.arange(SAMPLES) * INTERVAL_S - _PRETRIGGER_S
    on = (time_s >= -INTERVAL_S / 2) & (time_s < cycles / FREQUENCY_HZ - INTERVAL_S / 2)
    level = np.where(on, 1.0, LOW_LEVEL_RATIO)
    traces = {f"output {channel}": _trace(level * clipped_tone(seed)) for seed, channel in enumerate(CHANNELS)}
    return Capture("burst", -_PRETRIGGER_S, INTERVAL_S, traces, 0.0)


def burst_context(cycles: int) -> BurstContext:
    """The context for `burst_capture`."""
    return BurstContext(
        frequency_hz=FREQUENCY_HZ,
        loads={channel: LoadResistance(4.0, 4.01, 0.002, 60e-6) for channel in CHANNELS},
        accuracy={f"output {channel}": _CHAIN for channel in CHANNELS},
        cycles=cycles,
        every_s=SAMPLES * INTERVAL_S,
        low_level_ratio=LOW_LEVEL_RATIO,
    )


def _trace(volts: Samples) -> Trace:
    step_v = _FULL_SCALE_V / _CODES
    return Trace(np.rint(volts / step_v).astype(np.int16), step_v, 0.0, "V", -_CODES // 2, _CODES // 2 - 1)
