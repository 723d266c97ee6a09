"""What lies between a probe's tip and the converter, beside a constant gain: bandwidth, skew, jitter, drift, ranges."""

from __future__ import annotations

import math

import numpy as np

from benchctl.documents.bench_file.imperfections import OscilloscopeImperfections
from benchctl.simulator.hardware.noise import fast_length
from benchctl.simulator.hardware.waveforms import Samples
from benchctl.simulator.model.true_errors import TrueErrors

NOMINAL_C = 23.0
"""The temperature at which an oscilloscope is adjusted (common practice)."""

SETTLED = 20.0
"""Time constants after which nothing is left of how a pole began."""


class FrontEnd:
    """Of all inputs of one oscilloscope."""

    def __init__(self, imperfect: OscilloscopeImperfections, true_errors: TrueErrors, ambient_c: float) -> None:
        self._imperfect = imperfect
        self._true_errors = true_errors
        self._warm = 1 + imperfect.temperature_gain_per_k * (ambient_c - NOMINAL_C)

    @property
    def crosstalk(self) -> float:
        """Part of each other input's voltage that reaches an input."""
        return self._imperfect.crosstalk

    def late_s(self, number: int, record: int) -> float:
        """How much later than its time each sample of an input is seen, negative: how much earlier it is taken."""
        late_s = -self._imperfect.skew_s.get(number, 0.0)
        if self._imperfect.trigger_jitter_s:
            chance = self._true_errors.stream(f"trigger {record}")
            late_s += chance.gauss(0.0, self._imperfect.trigger_jitter_s)
        return late_s

    def gain(self, number: int, full_scale_v: float, now_s: float, record: int) -> float:
        """Of an input on a range and in one record, over what it was adjusted to."""
        warming = self._imperfect.warm_up_gain * self._warmed(now_s)
        part = self._true_errors.part(f"oscilloscope {number} gain", f"{full_scale_v:.6g} V")
        return (self._warm + warming) * (1 + self._imperfect.range_gain * part) * self._of_record(number, record)

    def _of_record(self, number: int, record: int) -> float:
        """The factor by which the gain of an input moved for one record."""
        if not self._imperfect.record_gain:
            return 1.0
        chance = self._true_errors.stream(f"oscilloscope {number} gain of record {record}")
        return 1.0 + chance.gauss(0.0, self._imperfect.record_gain)

    def zero_v(self, number: int, full_scale_v: float, limit_v: float, now_s: float) -> float:
        """How far the zero of an input has moved on a range, whose error of zero is stated to be within a limit."""
        if not self._imperfect.zero_drift:
            return 0.0
        part = self._true_errors.part(f"oscilloscope {number} zero", f"{full_scale_v:.6g} V")
        return self._imperfect.zero_drift * limit_v * part * self._warmed(now_s)

    def _warmed(self, now_s: float) -> float:
        """The part of its warming up that is done."""
        return -math.expm1(-now_s / self._imperfect.warm_up_s)

    def bandwidth_hz(self, signal: str) -> float:
        """Of the probe that is on a signal."""
        limits = self._imperfect
        limit_hz = limits.clamp_bandwidth_hz if signal == "supply current" else limits.probe_bandwidth_hz
        return math.inf if limit_hz is None or signal == "sync" else limit_hz


def turned_back(error: float, limit: float) -> float:
    """An error within its stated limit: one that would pass it turns back there.

    An error that is evenly spread within the limit stays so, whatever is added to it, where that is as likely of either
    sign: what it takes from one end it gives to the other.
    """
    around = (error + limit) % (4.0 * limit)
    return min(around, 4.0 * limit - around) - limit


def passed(bandwidth_hz: float, frequency_hz: float) -> float:
    """What one pole leaves of a sine (textbook)."""
    return 1 / math.hypot(1.0, frequency_hz / bandwidth_hz)


def through_one_pole(samples: Samples, interval_s: float, bandwidth_hz: float) -> Samples:
    """Samples behind one pole, which was at rest with the first of them for long; it must not hold anything that was
    folded down, for its frequency is not known any more."""
    if math.isinf(bandwidth_hz):
        return samples
    before = math.ceil(SETTLED / (2 * math.pi * bandwidth_hz * interval_s)) + 1
    points = fast_length(before + len(samples))
    held = np.full(points, samples[0])
    held[before : before + len(samples)] = samples
    spectrum = np.fft.rfft(held) / (1 + 1j * np.fft.rfftfreq(points, interval_s) / bandwidth_hz)
    return np.asarray(np.fft.irfft(spectrum, points)[before : before + len(samples)], dtype=np.float64)
