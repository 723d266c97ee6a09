"""Sums of errors by numerical convolution: how far they reach, computed apart from the closed form of the program."""

from __future__ import annotations

import math

import numpy as np

COVERED = math.erf(math.sqrt(2.0))  # what +-2 standard deviations of a normal distribution hold
_POINTS = 4001


def reach(*halves: float, normal: float = 0.0, share: float = COVERED) -> float:
    """Half the width about nought that holds `share` of a sum of errors: each of `halves` the limit of one that is
    anywhere within it, and a normal one with that standard deviation."""
    most = sum(halves) + 6.0 * normal
    places = np.linspace(-most, most, _POINTS)
    step = places[1] - places[0]
    density = np.zeros(_POINTS)
    density[_POINTS // 2] = 1.0
    for half in halves:
        density = np.convolve(density, _one(np.clip((half - np.abs(places)) / step + 0.5, 0.0, 1.0)), mode="same")
    if normal:
        density = np.convolve(density, _one(np.exp(-((places / normal) ** 2) / 2.0)), mode="same")
    right = density[_POINTS // 2 :].copy()
    right[0] /= 2.0
    return float(np.interp(share / 2.0, np.cumsum(right) - right / 2.0, places[_POINTS // 2 :]))


def _one(weights: np.ndarray[tuple[int], np.dtype[np.float64]]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    found: np.ndarray[tuple[int], np.dtype[np.float64]] = weights / weights.sum()
    return found
