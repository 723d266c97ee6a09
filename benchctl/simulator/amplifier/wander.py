"""How the dc of an output wanders: slowly, and as a function of time alone, so that any record of it repeats."""

from __future__ import annotations

import math
import random

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

SINES = 12
"""So many make a sum about normal in distribution: its excess kurtosis is -1.5 over their number (textbook)."""

SHORTEST_S, LONGEST_S = 4.0, 90.0
"""Periods: from what moves between two records to what moves within a run (common practice)."""

GRID_S = 0.1
"""It is worked out at instants so far apart, and is straight between them: at most 0.4 % off, and cheap for long
records."""


class Wander:
    """Of one output: a sum of sines of equal size. Each period is drawn within its own part of their span, evenly by
    logarithm, so no two are alike and the sum does not come back.

    Args:
        rms_v: over a long time.
        chance: periods and phases are drawn from it.
    """

    def __init__(self, rms_v: float, chance: random.Random) -> None:
        span = LONGEST_S / SHORTEST_S
        periods_s = [SHORTEST_S * span ** ((number + chance.random()) / SINES) for number in range(SINES)]
        self._rad_per_s = 2.0 * math.pi / np.array(periods_s)
        self._phases_rad = np.array([chance.uniform(0.0, 2.0 * math.pi) for _ in periods_s])
        self._amplitude_v = rms_v * math.sqrt(2.0 / SINES)

    def at(self, times_s: Samples) -> Samples:
        """Volts at these times on the bench's clock, which rise."""
        if not len(times_s):
            return np.zeros(0)
        first, last = math.floor(times_s[0] / GRID_S), math.floor(times_s[-1] / GRID_S) + 1
        grid_s = GRID_S * np.arange(first, last + 1)
        turned_rad = np.outer(grid_s, self._rad_per_s) + self._phases_rad
        volts = np.interp(times_s, grid_s, self._amplitude_v * np.sin(turned_rad).sum(axis=1))
        return np.asarray(volts, dtype=np.float64)
