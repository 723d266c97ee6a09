"""The levels that a generator can be set to: any, or those of its steps."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass

from benchctl.errors import MeasurementError
from benchctl.quantity import render

# A level -> the nearest ones at or below and at or above it that can be set; the level itself if it can.
Neighbours = Callable[[float], tuple[float, float]]
_JUST_ABOVE = 1.0 + 1e-6
_SAME = 1e-9
# Twice a level is 6.02 dB above it, and a search that takes steps of 6 dB means that.
_A_LITTLE_FARTHER = 1.005


@dataclass(frozen=True)
class SettableLevels:
    """`neighbours`: None where any level can be set."""

    neighbours: Neighbours | None = None

    def at_most(self, level_v: float) -> float:
        """The highest one that is not above; where there is none, the lowest of all."""
        if self.neighbours is None:
            return level_v
        below_v, above_v = self.neighbours(level_v)
        return below_v if below_v > 0.0 else above_v

    def nearest(self, level_v: float) -> float:
        """The one that is least far away."""
        if self.neighbours is None:
            return level_v
        return min((each for each in self.neighbours(level_v) if each > 0.0), key=lambda each: abs(each - level_v))

    def is_between(self, low_v: float, high_v: float) -> bool:
        """Whether one lies between two others."""
        if self.neighbours is None:
            return True
        return any(low_v * (1 + _SAME) < each < high_v * (1 - _SAME) for each in self.neighbours((low_v + high_v) / 2))

    def near(self, level_v: float, tried_v: Collection[float], farthest_v: float) -> float:
        """The nearest one that has not been tried; the next step up where all near it have.

        Raises:
            MeasurementError: that is well above `farthest_v`.
        """
        if self.neighbours is None:
            return level_v
        both = sorted(self.neighbours(level_v), key=lambda each: abs(each - level_v))
        for each in both:
            if 0.0 < each <= farthest_v * (1 + _SAME) and not _is_in(each, tried_v):
                return each
        _, next_v = self.neighbours(max((*tried_v, level_v)) * _JUST_ABOVE)
        if next_v > farthest_v * _A_LITTLE_FARTHER:
            raise MeasurementError(
                f"the generator's next level is {render(next_v, 'V')}, and the search may go up to "
                f"{render(farthest_v, 'V', digits=4)}; start the search at a higher level, or use a finer generator"
            )
        return next_v


def _is_in(level_v: float, levels_v: Collection[float]) -> bool:
    return any(math.isclose(level_v, each, rel_tol=_SAME) for each in levels_v)


ANY_LEVEL = SettableLevels()
