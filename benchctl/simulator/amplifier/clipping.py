"""Closed forms of a hard-clipped sine: what the stage takes from the rails and gives to the load in one cycle.

For v(θ) = clip(A·sin θ + d, -C, C), with d a dc offset, all means over a cycle follow from elementary integrals over
θ in [-π/2, π/2], where v only rises; the falling half has the same values for the same times.
"""

from __future__ import annotations

import math
from typing import NamedTuple


class CycleMeans(NamedTuple):
    """Means over a whole cycle."""

    absolute_v: float
    """mean |v|: what loads the rails of a linear stage"""
    square_v2: float
    """mean v²: what heats the load"""
    mean_v: float
    """dc"""
    absolute_slope: float
    """d(mean |v|)/dC; where clipping is hard, the fraction of the cycle spent at ±C"""
    square_slope_v: float
    """d(mean v²)/dC"""


SILENT = CycleMeans(0.0, 0.0, 0.0, 0.0, 0.0)


def clipped_sine(amplitude_v: float, offset_v: float, limit_v: float) -> CycleMeans:
    """Means of clip(amplitude·sin θ + offset, -limit, limit); `limit_v` must not be negative."""
    if limit_v < 0:
        raise ValueError(f"the clipping limit is {limit_v} V; it cannot be negative")
    if amplitude_v == 0:
        return _constant(offset_v, limit_v)
    low = _angle((-limit_v - offset_v) / amplitude_v)
    zero = _angle(-offset_v / amplitude_v)
    high = _angle((limit_v - offset_v) / amplitude_v)
    # The zero crossing lies between the clipping angles unless the offset alone clips.
    zero = min(max(zero, low), high)
    at_limit = (low + math.pi / 2) + (math.pi / 2 - high)
    below = _integral(amplitude_v, offset_v, zero) - _integral(amplitude_v, offset_v, low)
    above = _integral(amplitude_v, offset_v, high) - _integral(amplitude_v, offset_v, zero)
    square = _integral_of_square(amplitude_v, offset_v, high) - _integral_of_square(amplitude_v, offset_v, low)
    at_high, clipped = math.pi / 2 - high, at_limit / math.pi
    return CycleMeans(
        absolute_v=(limit_v * at_limit + above - below) / math.pi,
        square_v2=(limit_v**2 * at_limit + square) / math.pi,
        mean_v=(limit_v * (2 * at_high - at_limit) + above + below) / math.pi,
        absolute_slope=clipped,
        square_slope_v=2 * limit_v * clipped,
    )


def distortion(overdrive: float) -> float:
    """THD, relative to the fundamental, of a sine clipped at 1/overdrive of its amplitude.

    b1 = (2A/π)(α + sin(2α)/2) with α = asin(C/A); the rest of the mean square is harmonics.
    """
    if overdrive <= 1:
        return 0.0
    angle = math.asin(1 / overdrive)
    fundamental = 2 * overdrive / math.pi * (angle + math.sin(2 * angle) / 2)
    harmonics = clipped_sine(overdrive, 0.0, 1.0).square_v2 - fundamental**2 / 2
    return math.sqrt(max(harmonics, 0.0) * 2) / fundamental


def overdrive_at(thd: float) -> float:
    """Amplitude over clipping level at a distortion below that of a square wave, 48.3 %.

    Raises:
        ValueError: a distortion that clipping cannot give.
    """
    if not 0 < thd < 0.48:
        raise ValueError(f"a clipped sine cannot have {thd:.1%} distortion")
    low, high = 1.0, 1000.0
    while high - low > 1e-12 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if distortion(middle) < thd else (low, middle)
    return high


def _constant(offset_v: float, limit_v: float) -> CycleMeans:
    level = min(abs(offset_v), limit_v)
    clipped = 1.0 if abs(offset_v) > limit_v else 0.0
    return CycleMeans(level, level**2, math.copysign(level, offset_v), clipped, 2 * limit_v * clipped)


def _angle(sine: float) -> float:
    """arcsin, with ±π/2 for a value that the sine never reaches."""
    return math.asin(min(max(sine, -1.0), 1.0))


def _integral(amplitude_v: float, offset_v: float, angle: float) -> float:
    return offset_v * angle - amplitude_v * math.cos(angle)


def _integral_of_square(amplitude_v: float, offset_v: float, angle: float) -> float:
    return (
        amplitude_v**2 * (angle / 2 - math.sin(2 * angle) / 4)
        - 2 * amplitude_v * offset_v * math.cos(angle)
        + offset_v**2 * angle
    )
