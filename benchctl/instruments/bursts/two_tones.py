"""Two tones that sound together, and all that a driver file may say of them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

# Tones are told to a millihertz, so that any two have a common period.
_A_HERTZ = 1000


@dataclass(frozen=True)
class TwoTones:
    """Two sines that begin together. `level_v` is V RMS of the sine with the peak of both together, and `high_share`
    the part of that peak that the higher tone has."""

    low_hz: float
    high_hz: float
    high_share: float
    level_v: float

    @property
    def common_hz(self) -> float:
        """How often a common period of both comes in a second: their greatest common divisor."""
        low, high = (Fraction(round(tone * _A_HERTZ), _A_HERTZ) for tone in (self.low_hz, self.high_hz))
        scale = math.lcm(low.denominator, high.denominator)
        return math.gcd(int(low * scale), int(high * scale)) / scale

    def values(self) -> dict[str, float | int]:
        """By the names that a driver file uses."""
        return {
            "level_v": self.level_v,
            "low_tone_v": (1.0 - self.high_share) * self.level_v,
            "high_tone_v": self.high_share * self.level_v,
            "high_tone_percent": 100.0 * self.high_share / (1.0 - self.high_share),
            "low_tone_hz": self.low_hz,
            "high_tone_hz": self.high_hz,
            "table_hz": self.common_hz,
        }

    def samples(self, points: int) -> NDArray[np.float64]:
        """One common period; 1 is the peak of both together."""
        at = 2.0 * np.pi * np.arange(points) / (points * self.common_hz)
        both = (1.0 - self.high_share) * np.sin(self.low_hz * at) + self.high_share * np.sin(self.high_hz * at)
        return np.asarray(both, dtype=np.float64)
