"""Noise at the output with nothing at the input, A-weighted after IEC 61672-1, and the signal-to-noise ratio."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.errors import RecordTooShort, SampledTooSlowly
from benchctl.measure.signal.record import Samples, finite

AUDIO_BAND_HZ = (20.0, 20e3)

# IEC 61672-1, Annex E (from memory; the numbers agree with the published table): the A curve has the poles f1 and f4
# twice, f2 and f3 once. They follow from a reference of 1 kHz, cut-offs of 10^1.5 Hz and 10^3.9 Hz, and 10^2.45 Hz.
_F1_HZ, _F2_HZ, _F3_HZ, _F4_HZ = 20.598997, 107.652649, 737.862231, 12194.217148
_A_1000_DB = -2.0  # as the standard rounds it; the formula alone is -1.9997 dB at 1 kHz

_FEWEST_PERIODS = 4.0  # of the band's lower edge: a shorter record does not tell the lowest frequencies from dc
_FLOOR_FACTOR = 3.0  # an instrument's own noise nearer than this makes the result a bound


@dataclass(frozen=True)
class Noise:
    """Noise in V RMS in the audio band: as it is, and A-weighted. Both are upper bounds if `is_bound`."""

    rms_v: float
    a_weighted_v: float
    is_bound: bool = False


def a_weighting_db(frequencies_hz: float | NDArray[np.float64]) -> NDArray[np.float64]:
    """The A curve in dB, 0 dB at 1 kHz; minus infinity at zero. The shape is that of `frequencies_hz`."""
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(_a_curve(np.asarray(frequencies_hz))) - _A_1000_DB)


def _a_curve(frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    squares = frequencies_hz**2
    narrow = np.sqrt((squares + _F2_HZ**2) * (squares + _F3_HZ**2))
    return np.asarray(_F4_HZ**2 * squares**2 / ((squares + _F1_HZ**2) * narrow * (squares + _F4_HZ**2)))


def noise(
    values_v: Samples,
    interval_s: float,
    instrument_v: Samples | None = None,
    band_hz: tuple[float, float] = AUDIO_BAND_HZ,
) -> Noise:
    """Noise of a record of the silent output, shape (n,), from its windowed spectrum; dc does not count.

    `instrument_v` is a record of the oscilloscope's own noise, its input shorted, in the same range: where that is
    within a factor of three of the result, the result is only an upper bound.

    Raises:
        RecordTooShort: less than four periods of the band's lower edge.
        SampledTooSlowly: the band's upper edge is not below half the sample rate.
        UnreadableRecord: a value is NaN or infinite.
    """
    own = _in_band(values_v, interval_s, band_hz)
    if instrument_v is None:
        return own
    floor = _in_band(instrument_v, interval_s, band_hz)
    is_bound = own.rms_v < _FLOOR_FACTOR * floor.rms_v or own.a_weighted_v < _FLOOR_FACTOR * floor.a_weighted_v
    return Noise(own.rms_v, own.a_weighted_v, is_bound)


def _in_band(values_v: Samples, interval_s: float, band_hz: tuple[float, float]) -> Noise:
    record = finite(values_v)
    if record.size * interval_s * band_hz[0] < _FEWEST_PERIODS:
        raise RecordTooShort(
            f"{record.size * interval_s:.3g} s of noise do not hold {_FEWEST_PERIODS:g} periods of {band_hz[0]:g} Hz"
        )
    if not band_hz[1] < 0.5 / interval_s:
        raise SampledTooSlowly(f"noise up to {band_hz[1]:g} Hz needs more than {1.0 / interval_s:.4g} samples a second")
    # Hann's window keeps mains hum and drift from leaking over the band; its mean square of 3/8 is made good.
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(record.size) / record.size)
    spectrum = np.abs(np.fft.rfft((record - np.mean(record)) * window)) ** 2
    frequencies_hz: Samples = np.fft.rfftfreq(record.size, interval_s).astype(np.float64)
    inside = (frequencies_hz >= band_hz[0]) & (frequencies_hz <= band_hz[1])
    power = 2.0 * spectrum[inside] / (record.size**2 * 0.375)
    weights = 10.0 ** (a_weighting_db(frequencies_hz[inside]) / 10.0)
    return Noise(math.sqrt(float(np.sum(power))), math.sqrt(float(np.sum(power * weights))))
