"""The rules that tell a change from chance on a control chart.

- A value beyond a limit. By chance one in 370, if the limits are known.
- Nine values in a row on one side of the centre line (Nelson, Journal of Quality Technology 16, 1984, test 2). Chance:
  0.39 % of all groups of nine. Older texts have seven or eight, which alarm more often.
- Seven values that rise or fall one after the other (ISO 7870-2:2013, from memory). By chance 2 in 7! of all groups.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from benchctl.measure.control.limits import ROUNDING, ControlLimits

Kind = Literal["outside", "one side", "steady"]

# Of so many values of a normal distribution one is beyond three standard deviations: 1/0.0027.
BY_CHANCE = 370
ON_ONE_SIDE = 9
STEADY = 7


@dataclass(frozen=True)
class Signal:
    """Values `first` to `last`, counted from 0, that one rule finds; `is_up`: above the centre line, or rising."""

    kind: Kind
    first: int
    last: int
    is_up: bool

    @property
    def count(self) -> int:
        return self.last - self.first + 1


def signals_of(values: Sequence[float], limits: ControlLimits) -> list[Signal]:
    """What every rule finds, in the order of the values; each stretch once, as long as it is."""
    beyond = [_sign(value, limits.lower, limits.upper) for value in values]
    rounding = ROUNDING * max(map(abs, values))
    sides = [_sign(value, limits.centre - rounding, limits.centre + rounding) for value in values]
    moves = [0, *(_sign(after, before, before) for before, after in pairwise(values))]
    found = [
        *_stretches("outside", beyond, 1),
        *_stretches("one side", sides, ON_ONE_SIDE),
        *(Signal(each.kind, each.first - 1, each.last, each.is_up) for each in _stretches("steady", moves, STEADY - 1)),
    ]
    return sorted(found, key=lambda signal: (signal.first, signal.last))


def _sign(value: float, lower: float, upper: float) -> int:
    return (value > upper) - (value < lower)


def _stretches(kind: Kind, signs: Sequence[int], fewest: int) -> Iterator[Signal]:
    """Each stretch of so many equal signs at least that are not 0."""
    first = 0
    for place in range(1, len(signs) + 1):
        if place == len(signs) or signs[place] != signs[first]:
            if signs[first] and place - first >= fewest:
                yield Signal(kind, first, place - 1, signs[first] > 0)
            first = place
