"""How long a road-vehicle fuse carries an overload: its time-current curve.

ISO 8820-3 (blades), and makers' data sheets that name it, give a shortest and a longest time to open at some multiples
of the rating, at 23 degC. In between the result is open: a fuse *may* open after the shortest time and *will* open
after the longest. Between two multiples both times are interpolated, as the logarithm of the time over the logarithm of
the current.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.documents.amplifier_file.amplifier import FuseType

# Up to 110 % of its rating a blade holds for 100 hours (ISO 8820-3, as a maker's sheet of mini blades cites it). Sheets
# of large blades and bolt-down fuses say so of 100 %; that they hold at 110 % too is from memory.
HOLDS_RATIO = 1.1
_HOLDS_S = 360_000.0
# Longer than the slowest fuse takes at the least overload at which it must open.
SLOWEST_S = 1800.0


@dataclass(frozen=True)
class _Point:
    """At a multiple of the rating, the shortest and the longest time to open, s."""

    ratio: float
    shortest_s: float
    longest_s: float


# From sheets of fuses to ISO 8820-3, SAE J1284 and J1888, but for what is marked as from memory.
_HOLDS = _Point(HOLDS_RATIO, _HOLDS_S, math.inf)
_POINTS: dict[FuseType, tuple[_Point, ...]] = {
    "blade": (
        _HOLDS,
        _Point(1.35, 0.75, 600.0),
        _Point(1.6, 0.25, 50.0),
        _Point(2.0, 0.15, 5.0),
        _Point(3.5, 0.04, 0.5),  # the shortest from memory; 0.08 s of blades of 35 and 40 A
        _Point(6.0, 0.02, 0.15),  # the shortest from memory
    ),
    "large blade": (
        _HOLDS,
        _Point(1.35, 60.0, 1800.0),
        _Point(2.0, 2.0, 50.0),
        _Point(3.5, 0.2, 7.0),
        _Point(6.0, 0.04, 1.0),
    ),
    "bolt-down": (
        _HOLDS,
        _Point(1.35, 120.0, 1800.0),
        _Point(2.0, 1.0, 15.0),  # this line and those below it from memory
        _Point(3.5, 0.3, 5.0),
        _Point(6.0, 0.1, 1.0),
    ),
}


def may_open_s(ratio: float, fuse_type: FuseType | None) -> float:
    """The shortest time after which a fuse may open at a multiple of its rating; for an unknown type, that of the
    fastest fuse. Infinite if it does not open.
    """
    return min(_time_s(ratio, _curve(points, longest=False)) for points in _of(fuse_type))


def will_open_s(ratio: float, fuse_type: FuseType | None) -> float:
    """The longest time that it carries this multiple; for an unknown type, that of the slowest fuse. Infinite if it may
    never open.
    """
    return max(_time_s(ratio, _curve(points, longest=True)) for points in _of(fuse_type))


def _of(fuse_type: FuseType | None) -> Sequence[tuple[_Point, ...]]:
    return list(_POINTS.values()) if fuse_type is None else [_POINTS[fuse_type]]


def _curve(points: Sequence[_Point], *, longest: bool) -> list[tuple[float, float]]:
    times = ((point.ratio, point.longest_s if longest else point.shortest_s) for point in points)
    return [(ratio, time_s) for ratio, time_s in times if math.isfinite(time_s)]


def _time_s(ratio: float, curve: Sequence[tuple[float, float]]) -> float:
    """The time at a multiple. Below the first point the fuse does not open. Beyond the last point no heat flows off, so
    that the square of the current times the time is constant.
    """
    if ratio < curve[0][0]:
        return math.inf
    for (low, low_s), (high, high_s) in itertools.pairwise(curve):
        if ratio <= high:
            part = math.log(ratio / low) / math.log(high / low)
            return low_s * math.pow(high_s / low_s, part)
    last, last_s = curve[-1]
    return last_s * (last / ratio) ** 2
