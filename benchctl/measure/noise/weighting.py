"""The A curve of IEC 61672-1, and the audio band."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

AUDIO_BAND_HZ = (20.0, 20e3)

# IEC 61672-1, Annex E (from memory; the numbers agree with the published table): the A curve has the poles f1 and f4
# twice, f2 and f3 once. They follow from a reference of 1 kHz, cut-offs of 10^1.5 Hz and 10^3.9 Hz, and 10^2.45 Hz.
_F1_HZ, _F2_HZ, _F3_HZ, _F4_HZ = 20.598997, 107.652649, 737.862231, 12194.217148
_A_1000_DB = -2.0  # as the standard rounds it; the formula alone is -1.9997 dB at 1 kHz


def a_weighting_db(frequencies_hz: float | NDArray[np.float64]) -> NDArray[np.float64]:
    """The A curve in dB, 0 dB at 1 kHz; minus infinity at zero. The shape is that of `frequencies_hz`."""
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(_a_curve(np.asarray(frequencies_hz))) - _A_1000_DB)


def _a_curve(frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    squares = frequencies_hz**2
    narrow = np.sqrt((squares + _F2_HZ**2) * (squares + _F3_HZ**2))
    return np.asarray(_F4_HZ**2 * squares**2 / ((squares + _F1_HZ**2) * narrow * (squares + _F4_HZ**2)))
