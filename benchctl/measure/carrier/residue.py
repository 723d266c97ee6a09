"""What a class D amplifier's filter leaves of its carrier: the RMS of all above the band, and the strongest line."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from benchctl.measure.carrier.low_pass import STOP_BAND
from benchctl.measure.signal.distortion import ToneSpectrum
from benchctl.measure.uncertainty import measured, rectangular

# Harmonics of the tone are its distortion, also above the band; beyond this they are less than any carrier.
_HARMONICS_TO_HZ = 100e3
# Leaks of a harmonic beside its own line, in lines.
_BESIDE = 1.6
# A residue that is nearer to the noise is a bound.
_ABOVE_NOISE = 3.0
# One line stands for a carrier where it has so much of the residue.
_CARRIER_PART = 0.3
# A record up to here shows a carrier where it is (below a megahertz, common practice).
_LOWEST_NYQUIST_HZ = 0.99e6
# Noise power is known to so much (as the floor of a distortion), relative standard uncertainty.
_NOISE_U = 0.1


@dataclass(frozen=True)
class Residue:
    """RMS above the band in V, and the frequency of the strongest line; None where none stands out or the record is too
    coarse to tell it from a folded one. `is_bound`: no more than `rms_v` is known."""

    rms_v: UFloat
    frequency_hz: UFloat | None = None
    is_bound: bool = False


def residue(tone: ToneSpectrum, band_hz: float) -> Residue | None:
    """Of a steady tone's spectrum; None where the record shows nothing above the band."""
    frequencies_hz = tone.line_hz * np.arange(tone.power.size)
    above = frequencies_hz > STOP_BAND * band_hz
    orders = frequencies_hz / tone.fit.frequency_hz
    of_tone = np.abs(orders - np.round(orders)) * tone.fit.frequency_hz < _BESIDE * tone.line_hz
    power = tone.power[above & ~(of_tone & (frequencies_hz < _HARMONICS_TO_HZ))]
    if not power.size:
        return None
    noise = float(np.median(power)) / math.log(2.0) * power.size
    total = float(power.sum())
    if total < _ABOVE_NOISE**2 * noise:
        return Residue(measured(math.sqrt(total), 0.0), is_bound=True)
    rms_v = math.sqrt(total - noise)
    return Residue(measured(rms_v, _NOISE_U * noise / (2.0 * rms_v)), _carrier_hz(tone, above, rms_v))


def _carrier_hz(tone: ToneSpectrum, above: NDArray[np.bool_], rms_v: float) -> UFloat | None:
    """To half a line."""
    strongest = int(np.argmax(np.where(above, tone.power, 0.0)))
    near = float(tone.power[max(strongest - 1, 0) : strongest + 2].sum())
    if near < _CARRIER_PART * rms_v**2 or tone.nyquist_hz < _LOWEST_NYQUIST_HZ:
        return None
    return rectangular(strongest * tone.line_hz, tone.line_hz / 2.0)
