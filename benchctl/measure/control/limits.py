"""The limits of a control chart of single values, from how much each value differs from the one before it.

After the individuals chart of ISO 7870-2 (Shewhart): the mean, and 3/d2 times the mean moving range on either side of
it. A slow drift hardly widens such limits, since it moves a value little from the one before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

# Mean range of two values of a normal distribution, in standard deviations: 2/sqrt(pi), as tables of the factors print
# it (ISO 7870-2, factors for control lines, n = 2: from memory; the value follows from the closed form).
D2 = 1.128
SIGMAS = 3.0
# Single values that are equal but for rounding have no scatter that could be charted.
ROUNDING = 1e-9


@dataclass(frozen=True)
class ControlLimits:
    """Centre line and the two limits, which are `reach` away from it; `count` values gave them."""

    centre: float
    reach: float
    count: int

    @property
    def lower(self) -> float:
        return self.centre - self.reach

    @property
    def upper(self) -> float:
        return self.centre + self.reach

    @property
    def sigma(self) -> float:
        """The standard deviation that the limits stand for."""
        return self.reach / SIGMAS


def moving_ranges(values: Sequence[float]) -> list[float]:
    """How far each value is from the one before it."""
    return [abs(after - before) for before, after in pairwise(values)]


def limits_of(values: Sequence[float]) -> ControlLimits:
    """Limits from a series of two values at least: mean ± 3/d2 · mean moving range.

    They are never nearer than one step of a display that shows the same values again and again: a change by one step
    tells nothing.
    """
    if len(values) < 2:
        raise ValueError("a moving range needs two values")
    reach = SIGMAS / D2 * fmean(moving_ranges(values))
    least = ROUNDING * max(map(abs, values))
    return ControlLimits(fmean(values), max(reach, step_of(values), least), len(values))


def step_of(values: Sequence[float]) -> float:
    """The step in which values come: the smallest gap between two of them, where most are equal to another one; 0 where
    they are not."""
    different = sorted(set(values))
    if len(different) < 2 or 2 * len(different) > len(values):
        return 0.0
    return min(after - before for before, after in pairwise(different))
