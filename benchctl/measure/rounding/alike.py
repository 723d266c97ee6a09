"""What a converter's steps do beside noise: how much of the rounding error noise makes random, and how much stays.

Rounding a constant and normal noise of standard deviation s, both in steps, errs on average over the noise by
sum over k of (-1)^k / (pi k) sin(2 pi k x) exp(-2 pi^2 k^2 s^2), x being the constant (the Fourier series of the
sawtooth, and the characteristic function of the noise). That part is alike each time the same value comes by; over
all x its mean square is sum of exp(-4 pi^2 k^2 s^2) / (2 pi^2 k^2), which is 1/12 without noise. The rest of 1/12 is as
random as the noise itself.

A ripple of amplitude a that goes on while the same value comes by again, such as what is left of a carrier, does so,
too: over all of its phases the mean of sin(2 pi k (x + a cos phase)) is J0(2 pi k a) sin(2 pi k x) (Bessel's integral,
DLMF 10.9.1), so it leaves J0(2 pi k a)^2 of each term's mean square.

How much noise there is, the rms of the samples alone does not tell where it is less than half a step: a value at the
edge between two codes goes to and fro by half a step with next to no noise. How often each code comes tells it.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

# Forty terms leave a quarter of a per cent of 1/12 where there is no noise at all, and nothing where there is.
_SQUARES = 2.0 * np.pi**2 * np.arange(1, 41) ** 2
_STEPS = 60
_SMALLEST = 4e-16  # of a value, that floating point can tell
_NORMAL = NormalDist()
_FAR = 8.0
_TO_AND_FRO = 0.25  # steps squared: the variance of a value that is as often at one code as at the next


def left_of_mean(steps: NDArray[np.float64]) -> float:
    """What rounding that comes alike leaves of the mean of an even signal: a standard uncertainty in steps, from the
    samples in steps.

    Three codes and more tell how much noise there is, by how much of it lies beyond two of the edges between them. Two
    tell of one edge: the mean is near it, and lies off it by as much as one code comes more often. One tells nothing.
    """
    found, counts = np.unique(steps, return_counts=True)
    if found.size < 3:
        off = 0.5 if found.size == 1 else abs(float(counts[0]) / steps.size - 0.5)
        return off / math.sqrt(3.0)
    below = np.cumsum(counts)[:-1] / steps.size
    places = np.array([_NORMAL.inv_cdf(share) for share in below.tolist()])
    surest = np.sort(np.argsort(np.abs(places), kind="stable")[:2])
    edges = ((found[:-1] + found[1:]) / 2.0)[surest]
    noise = float(np.diff(edges)[0] / np.diff(places[surest])[0])
    return math.sqrt(_alike(noise**2))


def alike_at_most(noise: float, step: float) -> float:
    """As `alike`, where all that is seen of the noise may be a value that goes to and fro between two codes."""
    if not step > 0.0:
        return 0.0
    return step**2 * _alike(max((noise / step) ** 2 - _TO_AND_FRO, 0.0))


def alike(noise: float, step: float, ripple: float = 0.0) -> float:
    """Mean square of the rounding error that comes alike each time, in the square of the unit of `step`.

    `noise` is the rms that is seen to be random: that of the noise itself and of the random part of rounding. `ripple`:
    the amplitude of a tone that rides on the signal and has another phase each time.
    """
    if not step > 0.0:
        return 0.0
    kept = _kept(ripple / step)
    return step**2 * _alike(_variance((noise / step) ** 2, kept), kept)


def noise_itself(noise: float, step: float) -> float:
    """Of noise that is seen with the random part of its rounding, what there is without it."""
    return step * math.sqrt(_variance((noise / step) ** 2, 1.0)) if step > 0.0 else noise


def _variance(seen: float, kept: NDArray[np.float64] | float) -> float:
    """Of the noise itself, in steps squared, from what is seen of it.

    What would be seen rises with the noise itself, less and less: there is more of that, and less rounding that is
    alike. So Newton's method comes from below, and no step goes too far.
    """
    itself = max(seen - _WITHOUT_NOISE, 0.0)
    for _ in range(_STEPS):
        left = kept * np.exp(-2.0 * _SQUARES * itself)
        missing = seen - itself - (_WITHOUT_NOISE - float(np.sum(left / _SQUARES)))
        more = missing / (1.0 + 2.0 * float(np.sum(left)))
        if not more > _SMALLEST * itself:
            break
        itself += more
    return itself


def _alike(variance: float, kept: NDArray[np.float64] | float = 1.0) -> float:
    return float(np.sum(kept * np.exp(-2.0 * _SQUARES * variance) / _SQUARES))


def _kept(ripple: float) -> NDArray[np.float64] | float:
    """What a ripple of so many steps leaves of each term: J0^2, over amplitudes of a tenth more and less, since it
    becomes nought at some of them; beyond eight radians the mean of its asymptotic form, 1 / (pi x) (DLMF 10.17.3)."""
    if not ripple > 0.0:
        return 1.0
    turns = 2.0 * np.pi * np.arange(1, 41)[:, np.newaxis] * ripple * np.linspace(0.9, 1.1, 5)
    near = np.minimum(turns, _FAR)[:, :, np.newaxis]
    j0 = np.cos(near * np.sin(np.pi * (np.arange(32) + 0.5) / 32.0)).mean(axis=2)
    squares = np.where(turns < _FAR, j0**2, 1.0 / (np.pi * turns))
    kept: NDArray[np.float64] = squares.mean(axis=1)
    return kept


_WITHOUT_NOISE = _alike(0.0)
