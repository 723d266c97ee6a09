"""Sine, THD and THD+N straight from a record, by the path that a measured tone takes."""

from __future__ import annotations

import numpy as np

from benchctl.measure.signal.distortion import (
    BAND_HZ,
    Distortion,
    harmonic_distortion,
    noise_and_distortion,
    tone_spectrum,
)
from benchctl.measure.signal.sine import SineFit, find_frequency, fit_sine


def fit_sine_4(values: np.ndarray, interval_s: float, start_hz: float) -> SineFit:
    """The four-parameter fit."""
    return fit_sine(values, interval_s, find_frequency(values, interval_s, start_hz))


def thd_n(
    values: np.ndarray, interval_s: float, frequency_hz: float, *, band_hz: float = BAND_HZ, step: float = 0.0
) -> Distortion:
    return noise_and_distortion(tone_spectrum(values, interval_s, frequency_hz, step), band_hz)


def thd(
    values: np.ndarray,
    interval_s: float,
    frequency_hz: float,
    *,
    band_hz: float = BAND_HZ,
    step: float = 0.0,
    highest: int = 10,
) -> Distortion:
    return harmonic_distortion(tone_spectrum(values, interval_s, frequency_hz, step), band_hz, highest)
