"""Where distortion against level crosses a bound, predicted from what has been measured so far.

Many amplifiers are imagined at once: clippers from soft to hard, each with a rail that may give way, each crossing the
bound at each level of a fine grid. Every measured point makes those unlikely that disagree with it. What is left is a
distribution of the crossing: its middle is the next level worth trying, and its width says how far to trust it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.measure.search.clipping import KNEES, distortion_curve, drive_grid_db

Array = NDArray[np.float64]

# How much steeper than its law distortion may rise, because the rail sags under load or recovers: factor, likelihood.
_STRETCHES = {0.75: 0.1, 0.9: 0.25, 1.0: 1.0, 1.1: 0.6, 1.25: 0.4}
_LEAST = 1e-9  # a distortion below which all is the same as none
_CELLS = 300  # of the grid of crossings
_SCATTER = 0.005  # relative scatter of one measured distortion
_LAW_ERROR = 0.04  # no amplifier obeys a law exactly: relative error for a factor e away from the bound
_GREATEST_DOUBT = 1e3  # what one point can say against an amplifier, so that an outlier does not silence the others
_GREATEST_DOUBT_OF_RESIDUE = 3.0  # what a clean point can say against too little clipping: it may show residue
_LOWER, _MEDIAN, _ABOVE, _UPPER = 0.1, 0.5, 0.75, 0.9  # quantiles of the distribution of the crossing
_WIDE_DB = 0.3  # while the range is wider, aim above the median: a point above the bound tells more than one below


@dataclass(frozen=True)
class Point:
    """One measured pair: the level in dB (any reference) and the distortion there as a ratio."""

    level_db: float
    distortion: float


@dataclass(frozen=True)
class Crossing:
    """The level in dB at which the bound is crossed: where to try next, and the range that holds it with 80 %."""

    best_db: float
    lower_db: float
    upper_db: float

    @property
    def spread_db(self) -> float:
        """Width of the range."""
        return self.upper_db - self.lower_db


def predict(points: Sequence[Point], bound: float, lowest_db: float, highest_db: float, noise: float = 0.0) -> Crossing:
    """Where between two levels the measured distortion crosses `bound` (a ratio).

    `points` are in rising order of level. `noise` is what a level of 0 dB shows of distortion through noise alone,
    which falls as the level rises; it is taken out of the points and of the bound.
    """
    levels_db = np.array([point.level_db for point in points])
    measured = np.array([point.distortion for point in points])
    shares = _Shares.of(measured, noise * 10.0 ** (-levels_db / 20.0))
    edges_db = np.linspace(lowest_db, highest_db, _CELLS + 1)
    crossings_db = (edges_db[1:] + edges_db[:-1]) / 2.0
    goals = _difference(np.full(_CELLS, bound), noise * 10.0 ** (-crossings_db / 20.0))
    doubt = np.stack([_doubt(knee, levels_db, shares, goals, crossings_db) for knee in KNEES])
    likelihood = np.exp(doubt.min() - doubt).sum(axis=(0, 1))  # over all knees and stretches
    cumulated = np.concatenate([[0.0], np.cumsum(likelihood)]) / likelihood.sum()
    lower_db, median_db, above_db, upper_db = np.interp([_LOWER, _MEDIAN, _ABOVE, _UPPER], cumulated, edges_db)
    best_db = above_db if upper_db - lower_db > _WIDE_DB else median_db
    return Crossing(float(best_db), float(lower_db), float(upper_db))


@dataclass(frozen=True)
class _Shares:
    """The share of clipping in each measured distortion: logarithms of the most and the least that it can be.

    Noise and constant residue never rise with level, so clipping is between all that is left without noise, and what
    is left when also the lowest rest seen at or below that level is taken away as residue.
    """

    most: Array
    least: Array
    residue: float

    @classmethod
    def of(cls, measured: Array, noise: Array) -> _Shares:
        """Both shares, given the distortion measured and the noise in it; the scatter counts both ways."""
        most = _difference(measured * (1.0 + _SCATTER), noise)
        residue = np.minimum.accumulate(most)
        least = _difference(measured * (1.0 - _SCATTER), np.hypot(noise, residue))
        return cls(np.log(most), np.log(least), float(residue[-1]) if len(residue) else 0.0)


def _difference(whole: Array, part: Array) -> Array:
    """What adds to `part` in power to make the whole."""
    return np.sqrt(np.maximum(whole**2 - part**2, _LEAST**2))


def _doubt(knee: float, levels_db: Array, shares: _Shares, goals: Array, crossings_db: Array) -> Array:
    """Minus the logarithm of the likelihood, of shape (stretch, crossing), of the amplifiers of one knee."""
    curve, drives_db = distortion_curve(knee), drive_grid_db()
    residue = np.minimum(shares.residue, 0.9 * goals)
    targets = np.sqrt(goals**2 - residue**2 / 2.0)  # between all and none of the residue
    goal_drives_db = np.interp(np.log(targets), curve, drives_db)
    stretches, likelihoods = np.array(list(_STRETCHES)), np.array(list(_STRETCHES.values()))
    above_crossing_db = levels_db[None, None, :] - crossings_db[None, :, None]
    drives = goal_drives_db[None, :, None] + stretches[:, None, None] * above_crossing_db
    predicted_end: Array = np.interp(drives, drives_db, curve)
    against: Array = _disagreement(predicted_end, shares, math.log(float(goals[-1]))).sum(axis=-1)
    against -= np.log(likelihoods)[:, None]
    return against


def _disagreement(predicted_end: Array, shares: _Shares, goal: float) -> Array:
    """How much each point speaks against each imagined amplifier; all in logarithms of distortion.

    A clean point may hold residue of another kind, so it speaks but weakly against an amplifier that clips less.
    """
    error = _SCATTER + _LAW_ERROR * np.abs(shares.most - goal)
    excess = np.maximum(predicted_end - shares.most, 0.0) / error
    want = np.maximum(shares.least - predicted_end, 0.0) / error
    doubt_of_want = np.where(shares.most > goal, _GREATEST_DOUBT, _GREATEST_DOUBT_OF_RESIDUE)
    against: Array = np.minimum(excess**2 / 2.0, _GREATEST_DOUBT) + np.minimum(want**2 / 2.0, doubt_of_want)
    return against
