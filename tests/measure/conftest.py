"""Records made of closed forms, as an oscilloscope would bring them home."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest
from numpy.typing import NDArray

from benchctl.measure.signal.record import Capture, Trace

Samples = NDArray[np.float64]
Shape = Callable[[Samples], Samples]


def digitise(values: Samples, full_scale: float, *, bits: int = 12, unit: str = "V", word: int = 1) -> Trace:
    """What a converter of `bits` bits over +-full_scale / 2 makes of `values`; codes come in steps of `word`."""
    half = 2 ** (bits - 1)
    codes = np.clip(np.round(values / (full_scale / (2 * half))), -half, half - 1)
    return Trace(
        (codes * word).astype(np.int16), full_scale / (2 * half * word), 0.0, unit, -half * word, (half - 1) * word
    )


@pytest.fixture
def burst_record() -> Callable[..., Capture]:
    """Makes a capture of one burst of a sine, then rest at a low level; `shape` acts on volts, `envelope` on time."""

    def make(
        *,
        frequency_hz: float = 1000.0,
        sample_rate: float = 1e6,
        cycles: int = 8,
        every_s: float = 0.1,
        amplitude_v: float = 30.0,
        low_level_ratio: float = 0.1,
        pretrigger_s: float = 0.005,
        shape: Shape = lambda volts: volts,
        envelope: Shape = np.ones_like,
        noise_v: float = 0.0,
        bits: int = 12,
        full_scale_v: float = 72.0,
        channels: tuple[str, ...] = ("A",),
        extra: Mapping[str, Trace] | None = None,
    ) -> Capture:
        time_s = np.arange(round(every_s * sample_rate)) / sample_rate - pretrigger_s
        on = (time_s >= -1e-12) & (time_s < cycles / frequency_hz - 1e-12)
        volts = (
            amplitude_v * np.sin(2 * np.pi * frequency_hz * time_s) * np.where(on, envelope(time_s), low_level_ratio)
        )
        noise = np.random.default_rng(20).normal(0.0, 1.0, time_s.size) * noise_v
        trace = digitise(shape(volts) + noise, full_scale_v, bits=bits)
        traces = {f"output {channel}": trace for channel in channels}
        return Capture("burst.npz", -pretrigger_s, 1 / sample_rate, {**traces, **(extra or {})}, 12.0)

    return make


@pytest.fixture
def tone_record() -> Callable[..., Capture]:
    """Makes a capture of a steady sine."""

    def make(
        *,
        frequency_hz: float = 1000.0,
        sample_rate: float = 1e6,
        duration_s: float = 0.1,
        amplitude_v: float = 30.0,
        shape: Shape = lambda volts: volts,
        noise_v: float = 0.0,
        bits: int = 12,
        full_scale_v: float = 72.0,
        channels: tuple[str, ...] = ("A",),
        extra: Mapping[str, Trace] | None = None,
    ) -> Capture:
        time_s = np.arange(round(duration_s * sample_rate)) / sample_rate
        volts = shape(amplitude_v * np.sin(2 * np.pi * frequency_hz * time_s))
        noise = np.random.default_rng(21).normal(0.0, 1.0, time_s.size) * noise_v
        trace = digitise(volts + noise, full_scale_v, bits=bits)
        traces = {f"output {channel}": trace for channel in channels}
        return Capture("tone.npz", 0.0, 1 / sample_rate, {**traces, **(extra or {})}, 12.0)

    return make


@pytest.fixture
def digitised() -> Callable[..., Trace]:
    """Makes a trace of any values."""
    return digitise
