"""The thump of an amplifier that unmutes or loses its supply: a pulse at the outputs that decays exponentially.

Its power in the load is not counted: a few volts for some tens of milliseconds are millijoules.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

OVER = 40.0
"""After so many time constants nothing is left of it that a double could show beside a volt."""


class Pulse(NamedTuple):
    """One thump."""

    peak_v: float
    began_s: float
    time_constant_s: float

    def over(self, now_s: float) -> bool:
        """Whether nothing is left of it."""
        return now_s - self.began_s > OVER * self.time_constant_s

    def at(self, times_s: Samples) -> Samples:
        """Its voltage at the load; nothing before it began."""
        since = (times_s - self.began_s) / self.time_constant_s
        return np.asarray(np.where(since >= 0, self.peak_v * np.exp(-np.maximum(since, 0.0)), 0.0), dtype=np.float64)
