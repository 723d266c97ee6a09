"""What the flat tops of a clipped tone keep of a converter's rounding.

They stand still between two steps, and their error is low in frequency. It has the shape of the tops, and so has what
clipping takes away: its harmonics are in phase with those of the distortion, and shift all of them together. The error
of rounding y goes with the sine of 2 pi y / step (its Fourier series, as in `alike`), whose phase is taken for random
at the upper and at the lower tops: nobody knows where between two steps they lie. Tops that are round go through
several steps, of which one makes up for the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_FEWEST_POINTS, _MOST_POINTS = 1 << 12, 1 << 16  # of one cycle; the latter for steps as fine as those of twelve bits
_POINTS_A_STEP = 8.0 * math.pi  # of the amplitude: two on average, and many where a top stands still


@dataclass(frozen=True)
class Shares:
    """Which part of the rounding that comes alike falls on a harmonic, the strong ones before all, and which in line
    with the distortion, so that it makes that larger or smaller."""

    harmonic: float
    in_line: float


def shares_of_tops(
    fundamental: complex, orders: NDArray[np.int64], harmonics: NDArray[np.complex128], step: float
) -> Shares | None:
    """Of a cycle without noise, from the complex amplitudes of its fundamental and harmonics, the angles those of
    cosines; None where nothing bends it, or steps are too fine to matter."""
    wanted = max(_POINTS_A_STEP * abs(fundamental) / step, _FEWEST_POINTS)
    if not np.any(harmonics) or wanted > _MOST_POINTS:
        return None
    points = 1 << math.ceil(math.log2(wanted))
    first = cycle_of(np.array([1]), np.array([fundamental]), points)
    cycle = first + cycle_of(orders, harmonics, points)
    turns = _turned(2.0 * math.pi / step * cycle)
    lines = np.fft.fft(turns)
    both = [np.abs(lines[places] / turns.size) ** 2 for places in (orders, -orders)]
    on_one = float(np.average(both[0] + both[1], weights=np.abs(harmonics) ** 2))
    upper, along = cycle >= 0.0, _along(cycle, first)
    in_line = sum(float(np.abs(np.mean(turns * along * side)) ** 2) for side in (upper, ~upper))
    return Shares(on_one, in_line)


def cycle_of(orders: NDArray[np.int64], amplitudes: NDArray[np.complex128], points: int) -> NDArray[np.float64]:
    """One cycle of some harmonics, at so many instants: more than twice the highest order."""
    lines = np.zeros(points // 2 + 1, dtype=np.complex128)
    lines[orders] = amplitudes
    cycle: NDArray[np.float64] = np.fft.irfft(lines, points) * (points / 2.0)
    return cycle


def _turned(angles: NDArray[np.float64]) -> NDArray[np.complex128]:
    """exp(i angle); numpy takes twice as long for that of a complex number."""
    turned = np.empty(angles.shape, dtype=np.complex128)
    np.cos(angles, out=turned.real)
    np.sin(angles, out=turned.imag)
    return turned


def _along(cycle: NDArray[np.float64], fundamental: NDArray[np.float64]) -> NDArray[np.float64]:
    """What an error must be multiplied by so that its mean is what it adds to the rms of the distortion: the distortion
    itself, less what the error does to the fundamental that it is related to."""
    distortion = cycle - fundamental
    size, whole = math.sqrt(float(np.mean(distortion**2))), float(np.mean(fundamental**2))
    return np.asarray(distortion / size - size / whole * fundamental)
