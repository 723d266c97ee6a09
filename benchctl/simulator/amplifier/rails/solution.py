"""Solves the equation of the rails over a window of time, all instants at once.

C·dV/dt = charge(V) - load(t, V) is linearised about a first guess of the whole course; the linear equation has a closed
solution over every interval (an exponential integrator with straight forcing), and the chain of intervals is a running
sum. The course found is the next guess (Newton's method on the course, also known as waveform relaxation where rails
act upon each other). Either the voltages at the start are given, or the course must end where it began.

Two rails that act upon each other more than they differ, as at a supply's current limit, where one gets what the other
does not, are taken as their mean and half of their difference: those hardly act upon each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.rows import mean

Samples = NDArray[np.float64]

SAME_V = 1e-5
"""A course that moves less than this from one guess to the next is found."""

GUESSES = 40

FARTHEST = 0.1
"""A guess of a course that must end where it began moves by so much of the rails at most, and by half as much each time
that it turns back: beyond a bend, as where a diode blocks, next to nothing may hold them, and a guess would be thrown
far away."""

LONGEST_DECAY = 300.0
"""Time constants in one running sum; beyond it numbers would overflow."""


class Slopes(NamedTuple):
    """Of every rail at every instant of a guess."""

    slope_v_per_s: Samples
    decay_per_s: Samples
    """by how much the slope falls for a volt more"""
    across_per_s: Samples
    """by how much it rises for a volt more of the other rail, about; one row"""


class Unsolved(ArithmeticError):
    """The guesses do not come together in this window."""


Law = Callable[[Samples], Slopes]


def course(law: Law, times_s: Samples, guess_v: Samples, start_v: Samples | None) -> Samples:
    """The voltages of the rails (rows) at these times; from `start_v`, or periodic where it is None.

    Raises:
        Unsolved: more than `GUESSES` were needed.
    """
    steps_s = np.diff(times_s)
    bounds = None if start_v is not None else _Bounds()
    for _ in range(GUESSES):
        slopes = law(guess_v)
        if _shares(slopes):
            turned_v = _linear(*_turned(slopes), _turn(guess_v), steps_s, None if start_v is None else _turn(start_v))
            found_v = _turn_back(turned_v)
        else:
            found_v = _linear(slopes.slope_v_per_s, slopes.decay_per_s, guess_v, steps_s, start_v)
        moved_v = float(np.max(np.abs(found_v - guess_v)))
        guess_v = found_v if bounds is None else bounds.nearer(guess_v, found_v)
        if moved_v < SAME_V:
            return guess_v
        if not moved_v < 1e6:
            break
    raise Unsolved


class _Bounds:
    """How far a guess may move."""

    def __init__(self) -> None:
        self._part = FARTHEST
        self._moved_v: Samples | float = 0.0

    def nearer(self, guess_v: Samples, found_v: Samples) -> Samples:
        """On the way from a guess to what was found."""
        if float(np.sum((found_v - guess_v) * self._moved_v)) < 0.0:
            self._part /= 2.0
        farthest_v = self._part * float(np.abs(guess_v).mean())
        self._moved_v = np.minimum(np.maximum(found_v - guess_v, -farthest_v), farthest_v)
        return np.asarray(guess_v + self._moved_v, dtype=np.float64)


def _shares(slopes: Slopes) -> bool:
    """Whether two rails act upon each other more than mean and difference of them would."""
    decay, across = slopes.decay_per_s, slopes.across_per_s
    return len(decay) == 2 and float(across.mean()) > float(np.abs(decay[0] - decay[1]).mean()) / 2


def _turned(slopes: Slopes) -> tuple[Samples, Samples]:
    """Slope and decay of mean and half difference."""
    both = mean(slopes.decay_per_s)
    return _turn(slopes.slope_v_per_s), np.array([both - slopes.across_per_s, both + slopes.across_per_s])


def _turn(rails: Samples) -> Samples:
    """Mean and half difference of two rows."""
    return np.array([(rails[0] + rails[1]) / 2, (rails[0] - rails[1]) / 2])


def _turn_back(turned: Samples) -> Samples:
    return np.array([turned[0] + turned[1], turned[0] - turned[1]])


def _linear(slope: Samples, decay: Samples, guess_v: Samples, steps_s: Samples, start_v: Samples | None) -> Samples:
    """The closed solution about a guess, with the decay of an interval taken as constant."""
    decays = (decay[:, 1:] + decay[:, :-1]) / 2
    before = slope[:, :-1] + decays * guess_v[:, :-1]
    after = slope[:, 1:] + decays * guess_v[:, 1:]
    exponents = decays * steps_s
    whole, ramp = _weights(exponents)
    gains_v = steps_s * (before * (whole - ramp) + after * ramp)
    pieces = list(_pieces(exponents, gains_v))
    if start_v is None:
        start_v = _periodic_start(exponents, pieces)
    return _chained(pieces, start_v)


def _weights(exponents: Samples) -> tuple[Samples, Samples]:
    """(1 - e^-x)/x and (1 - (1 - e^-x)/x)/x: what a constant and a ramp leave at the end of an interval."""
    small = np.abs(exponents) < 1e-3
    if small.all():
        return _small_weights(exponents)
    safe = np.where(small, 1.0, exponents)
    whole = -np.expm1(-safe) / safe
    ramp = (1 - whole) / safe
    if not small.any():
        return whole, ramp
    small_whole, small_ramp = _small_weights(exponents)
    return np.where(small, small_whole, whole), np.where(small, small_ramp, ramp)


def _small_weights(exponents: Samples) -> tuple[Samples, Samples]:
    """By their series, where the closed form loses digits."""
    squares = exponents**2
    return 1 - exponents / 2 + squares / 6, 0.5 - exponents / 6 + squares / 24


class _Piece(NamedTuple):
    """Some intervals whose running sum stays within bounds, from a start of zero on."""

    grown: Samples
    """e^x up to the end of each interval"""
    sums_v: Samples
    """of the gains, as if they were made at the start"""

    def course_v(self, start_v: Samples) -> Samples:
        """At the end of each interval, from another start."""
        return (start_v[:, None] + self.sums_v) / self.grown


def _periodic_start(exponents: Samples, pieces: Sequence[_Piece]) -> Samples:
    """Where a course must begin to end there: V = V·e^-x + what it gains from zero."""
    gained_v = _chained(pieces, np.zeros(len(exponents)))[:, -1]
    return np.asarray(gained_v / -np.expm1(-exponents.sum(axis=1)), dtype=np.float64)


def _chained(pieces: Sequence[_Piece], start_v: Samples) -> Samples:
    """V(n+1) = V(n)·e^-x(n) + gain(n), from a start on."""
    courses_v = [start_v[:, None]]
    for piece in pieces:
        courses_v.append(piece.course_v(courses_v[-1][:, -1]))
    return np.concatenate(courses_v, axis=1)


def _pieces(exponents: Samples, gains_v: Samples) -> Iterator[_Piece]:
    """The intervals, as running sums short enough for their exponentials."""
    passed, sizes = np.cumsum(exponents, axis=1), np.abs(exponents)
    first = 0
    while first < exponents.shape[1]:
        last = _piece_end(sizes, first)
        begun = passed[:, first - 1 : first] if first else 0.0
        grown = np.exp(passed[:, first:last] - begun)
        yield _Piece(grown, np.cumsum(gains_v[:, first:last] * grown, axis=1))
        first = last


def _piece_end(sizes: Samples, first: int) -> int:
    """As many intervals as keep the exponent within bounds, but one at least."""
    reached = np.cumsum(sizes[:, first:], axis=1).max(axis=0)
    return first + max(int(np.searchsorted(reached, LONGEST_DECAY)), 1)
