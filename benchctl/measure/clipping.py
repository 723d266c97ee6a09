"""The law of a symmetrically clipped sine: how much distortion an overdrive makes, and back.

A sine of amplitude A clipped at ±C, with k = C/A and alpha = asin k, has the fundamental
b1 = (2A/pi)(alpha + sin(2 alpha)/2) and the mean square (2/pi)[A²(alpha/2 - sin(2 alpha)/4) + C²(pi/2 - alpha)]:
elementary integrals over a quarter of the period.
"""

from __future__ import annotations

import math

from benchctl.errors import MeasurementError

SQUARE_WAVE_DISTORTION = math.sqrt(math.pi**2 / 8 - 1)  # all harmonics over the fundamental, 48.34 %
_GREATEST_OVERDRIVE_DB = 80.0  # there the sine is square to 1 part in 10^4
_BISECTIONS = 60  # halves 80 dB down to the last bit of a double


def clipped_sine_distortion(overdrive_db: float) -> float:
    """Distortion, harmonics over fundamental as a ratio, of a sine `overdrive_db` above the onset of hard clipping.

    Zero and below there is no clipping, hence no distortion. All harmonics count, without a band limit.
    """
    if overdrive_db <= 0.0:
        return 0.0
    clip = 10.0 ** (-overdrive_db / 20.0)  # for a sine of amplitude 1
    angle = math.asin(clip)
    fundamental = 2.0 / math.pi * (angle + math.sin(2.0 * angle) / 2.0)
    mean_square = 2.0 / math.pi * (angle / 2.0 - math.sin(2.0 * angle) / 4.0 + clip**2 * (math.pi / 2.0 - angle))
    harmonics_square = mean_square - fundamental**2 / 2.0
    # Within 1e-5 dB of the onset rounding may leave a negative rest, where the true value is below 1e-8.
    return math.sqrt(max(harmonics_square, 0.0) * 2.0) / fundamental


def overdrive_db_for_distortion(distortion: float) -> float:
    """The overdrive in dB at which a hard-clipped sine shows `distortion` (a ratio): the inverse of the law.

    Raises MeasurementError where no clipped sine can: below zero, or from a square wave's 48.34 % up.
    """
    if not 0.0 <= distortion < SQUARE_WAVE_DISTORTION * 0.9999:
        raise MeasurementError(f"no clipped sine has a distortion of {distortion:g}")
    low_db, high_db = 0.0, _GREATEST_OVERDRIVE_DB
    for _ in range(_BISECTIONS):
        middle_db = (low_db + high_db) / 2.0
        if clipped_sine_distortion(middle_db) < distortion:
            low_db = middle_db
        else:
            high_db = middle_db
    return (low_db + high_db) / 2.0
