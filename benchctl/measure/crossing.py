"""Where distortion against level crosses a bound, foretold from a few points.

Two shapes are known. A hard clipper shows next to nothing below its onset and then follows the law of the clipped
sine, so one point above the bound tells the crossing; a sagging rail stretches that law, which a second point shows.
A soft clipper follows a power law: distortion in dB is a straight line over level in dB.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.measure.clipping import overdrive_db_for_distortion

_HIGHEST_IN_LAW = 0.45  # just short of a square wave; beyond it the clipped-sine law has no inverse
_TELLING_SHARE = 0.1  # a clean point below a tenth of the bound says too little of where the bound is crossed
_RISING_SLOPE = 1.0  # dB of distortion for a dB of level; noise falls, constant residue lies flat
_HARD_SLOPE = 8.0  # dB/dB; soft stages are well below it, a clipped sine near 1 % is at about 35
_LEAST_SPACING_DB = 0.1  # points nearer to each other tell the scatter of the measurement, not a slope
_LAW_SLOPES = (0.2, 1.5)  # sagging rails stretch the law; nothing compresses it by much


@dataclass(frozen=True)
class Point:
    """One measured pair: the level in dB (any reference) and the distortion there as a ratio."""

    level_db: float
    distortion: float


def slope_db_per_db(lower: Point, upper: Point) -> float:
    """How steeply distortion rises with level from one point to another, both in dB."""
    rise_db = 20.0 * math.log10(max(upper.distortion, 1e-12) / max(lower.distortion, 1e-12))
    return rise_db / (upper.level_db - lower.level_db)


def is_telling(point: Point, lower: Sequence[Point], bound: float) -> bool:
    """Whether a clean point already shows the distortion that will cross the bound, not noise or a flat residue."""
    if point.distortion < _TELLING_SHARE * bound:
        return False
    spaced = [other for other in lower if other.level_db <= point.level_db - _LEAST_SPACING_DB]
    return bool(spaced) and slope_db_per_db(spaced[-1], point) >= _RISING_SLOPE


def foretell_from_below(clean: Sequence[Point], bound: float) -> float | None:
    """The crossing in dB on the power law through the last clean points, or None where they do not tell.

    `clean` is in rising order of level.
    """
    if not clean or not is_telling(clean[-1], clean[:-1], bound):
        return None
    last = clean[-1]
    spaced = [other for other in clean if other.level_db <= last.level_db - _LEAST_SPACING_DB]
    return _on_power_law(last, slope_db_per_db(spaced[-1], last), bound)


def foretell_between(clean: Sequence[Point], over: Sequence[Point], bound: float) -> float:
    """The crossing in dB between the highest clean and the lowest over point; both in rising order of level.

    `clean` may be empty, when nothing measured is known below the bound.
    """
    lowest_over = over[0]
    if clean and is_telling(clean[-1], clean[:-1], bound):
        slope = slope_db_per_db(clean[-1], lowest_over)
        if slope < _HARD_SLOPE and not _is_broken(clean, lowest_over):
            return _on_power_law(clean[-1], slope, bound)
        if lowest_over.level_db - clean[-1].level_db < 1.0:
            return _between_on_clipping_law(clean[-1], lowest_over, bound)
    return _from_above(over, bound)


def _is_broken(clean: Sequence[Point], over: Point) -> bool:
    """Whether distortion rises to the over point far faster than it did before: a soft stage met its rail."""
    before = slope_db_per_db(clean[-2], clean[-1])
    return slope_db_per_db(clean[-1], over) > 2.0 * before + 1.0


def _from_above(over: Sequence[Point], bound: float) -> float:
    lowest = over[0]
    spaced = [other for other in over if other.level_db >= lowest.level_db + _LEAST_SPACING_DB]
    if not spaced:
        return lowest.level_db - (_overdrive_db(lowest) - _overdrive_of(bound))
    slope = slope_db_per_db(lowest, spaced[0])
    if 0.0 < slope < _local_law_slope(lowest) / 4.0:  # far from any clipped sine
        return _on_power_law(lowest, slope, bound)
    stretch = (_overdrive_db(spaced[0]) - _overdrive_db(lowest)) / (spaced[0].level_db - lowest.level_db)
    stretch = min(max(stretch, _LAW_SLOPES[0]), _LAW_SLOPES[1])
    return lowest.level_db - (_overdrive_db(lowest) - _overdrive_of(bound)) / stretch


def _local_law_slope(point: Point) -> float:
    """The slope in dB/dB that the clipped-sine law has just above a point."""
    here_db = _overdrive_db(point)
    above = Point(point.level_db + 0.5, min(point.distortion * 1.2, _HIGHEST_IN_LAW * 1.05))
    return 20.0 * math.log10(1.2) / max(_overdrive_db(above) - here_db, 1e-3)


def _between_on_clipping_law(clean: Point, over: Point, bound: float) -> float:
    low_db, high_db = _overdrive_db(clean), _overdrive_db(over)
    share = (_overdrive_of(bound) - low_db) / (high_db - low_db)
    return clean.level_db + share * (over.level_db - clean.level_db)


def _on_power_law(point: Point, slope: float, bound: float) -> float:
    return point.level_db + 20.0 * math.log10(bound / point.distortion) / slope


def _overdrive_db(point: Point) -> float:
    return _overdrive_of(point.distortion)


def _overdrive_of(distortion: float) -> float:
    return overdrive_db_for_distortion(min(distortion, _HIGHEST_IN_LAW))
