"""One level tried in a search for clipping, and what its distortion says."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from benchctl.measure.search.crossing import Point

Says = Literal["clean", "over", "noise"]

_ROUNDING_DB = 1e-9


@dataclass(frozen=True)
class TriedLevel:
    """One level that was tried: its distortion as a ratio, and what that says of the level."""

    level_v: float
    distortion: float
    is_bound: bool
    says: Says

    @property
    def level_db(self) -> float:
        """The level in dB re 1 V."""
        return to_db(self.level_v)

    @property
    def point(self) -> Point:
        """The exposure as a point of distortion against level."""
        return Point(self.level_db, self.distortion)

    def is_noise_beside(self, level_v: float, distortion: float) -> bool:
        """Whether another level shows that noise rules: distortion falls as the level rises, which clipping never does.

        It must fall at least half as fast, in dB, as noise alone would.
        """
        level_rise_db = to_db(level_v) - self.level_db
        if abs(level_rise_db) < _ROUNDING_DB:
            return False
        return (to_db(distortion) - to_db(self.distortion)) / level_rise_db <= -0.5


def to_db(value: float) -> float:
    """20 lg of a value above zero."""
    return 20.0 * math.log10(value)
