"""How far the sum of several errors reaches with a stated probability, where one or two of them are limits of error.

An error that is anywhere within its limits has no tails: 95 % of a rectangular distribution lies within 1.65 standard
deviations (EA-4/02, supplement 2, S9), of the sum of two within 1.65 to 1.93 (S10, a trapezoid), of a normal one within
1.96. With k = 2 for all of them U would hold the truth always, and say too little. So the distribution is that which
JCGM 101 propagates: the two largest rectangular parts are taken as rectangles, and all others together as normal. Where
more than two are large, the result is some thousandths too wide or too narrow; the interval still holds 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import product

# Of all the standard deviation: a narrower rectangle changes a factor by less than 1e-6 if it counts as normal.
_NARROW = 0.02
_STEPS = 30
_CLOSE = 1e-9
# 95.45 % of a normal error lie within 2 standard deviations, of a rectangle within 1.653; its excess kurtosis is
# -1.2. The line between the two is below what any error in between has, so it is a start from below.
_MORE = 0.29


def reach(rectangles: Sequence[float], normal: float, share: float) -> float:
    """Half the width of the interval about nought that holds `share` of a sum of errors.

    Args:
        rectangles: half the width of each that is anywhere within its limits.
        normal: the standard deviation of all others together.
        share: between 0.95 and 1.
    """
    spread = math.hypot(normal, *(half / math.sqrt(3.0) for half in rectangles))
    if not spread > 0.0:
        return 0.0
    # In standard deviations of the sum, so that no square of a very small error becomes nought.
    wide = tuple(sorted(half / spread for half in rectangles if half > _NARROW * spread)[-2:])
    rest = math.sqrt(max(1.0 - sum(half**2 for half in wide) / 3.0, 0.0))
    kurtosis = -1.2 * sum((half**2 / 3.0) ** 2 for half in wide)
    return spread * _quantile(wide, rest, share, share * (2.0 + _MORE * kurtosis))


@lru_cache(maxsize=4096)  # the figures of one analysis, and the same analysis again, have many in common
def _quantile(halves: tuple[float, ...], normal: float, share: float, start: float) -> float:
    """By Newton's method, from below: the share held grows less and less with the distance, so no step goes too far."""
    found = start
    for _ in range(_STEPS):
        more = (share - _held(halves, normal, found)) / (2.0 * _density(halves, normal, found))
        found += more
        if abs(more) < _CLOSE * start:
            break
    return found


def _held(halves: Sequence[float], normal: float, within: float) -> float:
    return 2.0 * _smoothed(halves, normal, within, len(halves)) - 1.0


def _density(halves: Sequence[float], normal: float, at: float) -> float:
    return _smoothed(halves, normal, at, len(halves) - 1)


def _smoothed(halves: Sequence[float], normal: float, at: float, order: int) -> float:
    """The normal distribution, averaged over each rectangle in turn: differences of what its integral is of that
    `order`, divided by the widths."""
    total = 0.0
    for signs in product((1.0, -1.0), repeat=len(halves)):
        shift = sum(sign * half for sign, half in zip(signs, halves, strict=True))
        total += math.prod(signs) * _integral(at + shift, normal, order)
    return total / math.prod(2.0 * half for half in halves)


def _integral(at: float, normal: float, order: int) -> float:
    """The density of a normal error, integrated once for order 0 (its distribution) and once more for each further
    order; for order -1 the density itself."""
    if not normal > 0.0:
        return (max(at, 0.0) ** order / math.factorial(order)) if order > 0 else float(at > 0.0)
    z = at / normal
    density, below = math.exp(-z * z / 2.0) / math.sqrt(2.0 * math.pi), (1.0 + math.erf(z / math.sqrt(2.0))) / 2.0
    match order:
        case -1:
            return density / normal
        case 0:
            return below
        case 1:
            return normal * (z * below + density)
        case _:
            return normal**2 * ((z * z + 1.0) * below + z * density) / 2.0
