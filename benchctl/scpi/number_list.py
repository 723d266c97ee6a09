"""Whole numbers as ranges: the numeric list of SCPI-99 (volume 1, 8.3.3), such as `(-499:-100,1)`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

Range = tuple[int, int]


@dataclass(frozen=True)
class NumberList:
    """Ranges, both ends included, in order and without overlap; `of` makes them so."""

    ranges: tuple[Range, ...] = ()

    @classmethod
    def of(cls, ranges: Iterable[Range]) -> NumberList:
        """Any ranges, each from its lower to its higher end."""
        joined: list[Range] = []
        for first, last in sorted(ranges):
            if joined and first <= joined[-1][1] + 1:
                joined[-1] = (joined[-1][0], max(joined[-1][1], last))
            else:
                joined.append((first, last))
        return cls(tuple(joined))

    def __contains__(self, number: int) -> bool:
        return any(first <= number <= last for first, last in self.ranges)

    def __or__(self, other: NumberList) -> NumberList:
        return NumberList.of(self.ranges + other.ranges)

    def __sub__(self, other: NumberList) -> NumberList:
        left = self.ranges
        for cut in other.ranges:
            left = tuple(part for each in left for part in _outside(each, cut))
        return NumberList(left)

    def __str__(self) -> str:
        shown = (str(first) if first == last else f"{first}:{last}" for first, last in self.ranges)
        return "({})".format(",".join(shown))


def _outside(whole: Range, cut: Range) -> Iterator[Range]:
    """What `cut` leaves of `whole`."""
    for first, last in ((whole[0], min(whole[1], cut[0] - 1)), (max(whole[0], cut[1] + 1), whole[1])):
        if first <= last:
            yield first, last
