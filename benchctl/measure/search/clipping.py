"""How much distortion clipping makes of a sine: the closed form of a hard clipper, and a family from hard to soft."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

KNEES = (2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 20.0, 40.0, math.inf)  # from as soft as a lone transistor pair to a hard rail
_POINTS = 512  # of one period; enough for 64 harmonics without aliasing that matters below
_LEAST_DISTORTION = 1e-8  # 160 dB below the fundamental: no analyser sees less


def clipped_sine_distortion(overdrive_db: float) -> float:
    """Distortion, harmonics over fundamental as a ratio, of a sine `overdrive_db` above the onset of hard clipping.

    For a sine of amplitude A clipped at ±C, k = C/A, alpha = asin k: the fundamental is
    b1 = (2A/pi)(alpha + sin(2 alpha)/2), the mean square (2/pi)[A²(alpha/2 - sin(2 alpha)/4) + C²(pi/2 - alpha)],
    elementary integrals over a quarter of the period. All harmonics count; at the onset and below there are none.
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


@cache
def _hard_table() -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Of a hard clipper, rising: distortion, overdrive in dB, and by how many dB the gain of the fundamental is lower.

    The fundamental of a sine clipped at k of its amplitude is b1 = (2/pi)(alpha + sin(2 alpha)/2), alpha = asin k.
    """
    overdrives_db = np.concatenate([[0.0], np.geomspace(1e-4, 40.0, 400)])
    angles = np.arcsin(10.0 ** (-overdrives_db / 20.0))
    gains = 2.0 / np.pi * (angles + np.sin(2.0 * angles) / 2.0)
    distortions = np.array([clipped_sine_distortion(float(overdrive_db)) for overdrive_db in overdrives_db])
    return distortions, overdrives_db, -20.0 * np.log10(gains)


def overdrive_db_of(distortion: float) -> float:
    """How far above the onset a hard clipper is driven where it distorts so much."""
    distortions, overdrives_db, _ = _hard_table()
    return float(np.interp(distortion, distortions, overdrives_db))


def clipped_sine_compression_db(distortion: float) -> float:
    """By how many dB the gain of the fundamental is lower where a hard clipper distorts so much."""
    distortions, _, compressions_db = _hard_table()
    return float(np.interp(distortion, distortions, compressions_db))


@cache
def drive_grid_db() -> NDArray[np.float64]:
    """Drives in dB re the onset at which `distortion_curve` is tabulated: dense where clipping begins."""
    grid: NDArray[np.float64] = np.concatenate(
        [np.arange(-40, -6, 0.5), np.arange(-6, 6, 0.02), np.arange(6, 40.5, 0.5)]
    )
    return grid


@cache
def distortion_curve(knee: float) -> NDArray[np.float64]:
    """Natural logarithm of the distortion ratio on `drive_grid_db` of the clipper y = x / (1 + |x|^knee)^(1/knee).

    A knee of infinity is the hard clipper. For a soft one distortion grows as level^knee well below the onset.
    """
    if math.isinf(knee):
        ratios = np.array([clipped_sine_distortion(float(drive_db)) for drive_db in drive_grid_db()])
    else:
        ratios = _soft_distortion(knee)
    curve: NDArray[np.float64] = np.log(np.maximum(ratios, _LEAST_DISTORTION))
    curve.setflags(write=False)  # it is shared by all callers
    return curve


def _soft_distortion(knee: float) -> NDArray[np.float64]:
    sine = np.sin(2.0 * np.pi * np.arange(_POINTS) / _POINTS)
    driven = 10.0 ** (drive_grid_db()[:, None] / 20.0) * sine
    magnitude = np.abs(driven)
    # Written with the larger of 1 and |x| outside, so that |x|^knee cannot overflow.
    larger, smaller = np.maximum(magnitude, 1.0), np.minimum(magnitude, 1.0)
    clipped = driven / (larger * (np.maximum(1.0, magnitude) ** -knee + smaller**knee) ** (1.0 / knee))
    harmonics = np.abs(np.fft.rfft(clipped))
    ratios: NDArray[np.float64] = np.sqrt(np.sum(harmonics[:, 2:] ** 2, axis=1)) / harmonics[:, 1]
    return ratios
