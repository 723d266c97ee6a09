"""How far up and down an output goes in a record, of every sample: where it clips, rails and output stages show."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.floating[Any]]

TOP = 0.97
"""Of a sine's peak: beyond it a sample belongs to the top."""

_STRAIGHT = 0.5
"""Of a sine's peak: below it nothing is clipped at any drive that a run uses."""


@dataclass(frozen=True)
class Tops:
    """Means of an output's upper and lower tops; `asked_v`: of both if it were not clipped.

    `middle_v`: what the straight part of the wave gives at zero, which is dc and the zero of the range. `u_v`: standard
    uncertainty of the difference of both tops, each from the middle.
    """

    upper_v: float
    lower_v: float
    asked_v: float
    middle_v: float
    u_v: float


def tops_of(turns: Samples, values: Samples, noise_v: float, burst_cycles: int = 0) -> Tops | None:
    """Of a tone; of a burst over its later half. None where the samples are too few.

    Args:
        turns: of the sine at each sample, from the first one's rise through zero.
        noise_v: of a sample.
        burst_cycles: 0 of a steady tone.
    """
    wave = np.sin(2.0 * np.pi * turns)
    straight = np.abs(wave) < _STRAIGHT
    if straight.sum() < 4 or burst_cycles == 1:
        return None
    slope, middle_v = np.polyfit(wave[straight], values[straight], 1)
    found = _in_burst(turns, wave, values, burst_cycles) if burst_cycles else _steady(wave, values)
    if not all(map(math.isfinite, found)):
        return None
    u_v = math.hypot(
        _u_of_mean(values[wave > TOP], noise_v),
        _u_of_mean(values[wave < -TOP], noise_v),
        2.0 * _u_of_mean(values[straight], noise_v),
    )
    asked_v = float(slope) * float(np.abs(wave[np.abs(wave) > TOP]).mean())
    return Tops(found[0] - float(middle_v), found[1] + float(middle_v), asked_v, float(middle_v), u_v)


def _steady(wave: Samples, values: Samples) -> tuple[float, float]:
    return _mean(values, wave > TOP), _mean(-values, wave < -TOP)


def _in_burst(turns: Samples, wave: Samples, values: Samples, cycles: int) -> tuple[float, float]:
    """Lower tops from before the first upper one to after the last, since rails fall from top to top."""
    cycle, first = np.floor(turns), max(cycles // 2, 1)
    uppers = [_mean(values, (wave > TOP) & (cycle == each)) for each in range(first, cycles)]
    lowers = [_mean(-values, (wave < -TOP) & (cycle == each)) for each in range(first - 1, cycles)]
    return float(np.mean(uppers)), float(np.mean([(one + other) / 2.0 for one, other in pairwise(lowers)]))


def _mean(values: Samples, chosen: NDArray[np.bool_]) -> float:
    return float(values[chosen].mean()) if chosen.any() else math.nan


def _u_of_mean(samples: Samples, noise_v: float) -> float:
    """Steps of the converter average out only as far as the samples fall on different ones."""
    return noise_v / math.sqrt(max(len(np.unique(samples)), 1))
