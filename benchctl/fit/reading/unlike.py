"""What the steps of a real converter, no two of which are alike, leave in its values.

Each step begins a little off from where it should (code transition levels, IEEE 1057). A mean over samples that spread
over some steps is off by a mean of that, and another mean near the same level by much the same. Where there is little
noise, steps that are alike leave something too.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

UNLIKE = 0.125
"""Of a step: by so much each step of a converter begins off, as a standard uncertainty (common practice)."""

SEEN_QUIET = 0.3
"""Of what steps leave in samples, as variance, so much is counted: where a range is so quiet that samples stay on one
step, there is more noise than neighbours show. Set after trials on simulated benches."""

_WITHIN_A_STEP = math.sqrt(1.0 / 12.0)
"""Samples that stay on one step spread over it."""


def spread_of(values: Samples, step: float) -> float:
    """How far samples spread around their mean, in steps."""
    return max(float(np.std(values)) / step, _WITHIN_A_STEP) if step else math.inf


def spread_of_noise(noise: float, step: float) -> float:
    """Of single samples at one level, in steps."""
    return max(noise / step, _WITHIN_A_STEP)


def left_of_unlike_steps(spread: float) -> float:
    """By how much of a step a mean is off; the wider its samples spread, the more steps share in it."""
    return math.sqrt(float(shared_of_steps(np.zeros(1), np.array([spread]))[0, 0]))


def sine_of_steps(spreads: Samples) -> Samples:
    """What is left of steps that are alike, in steps: the amplitude of a sine of the level, with one step as its period
    (Carbone and Petri, IEEE Trans. Instrum. Meas. 43, 1994). Noise averages the rest out.

    Args:
        spreads: of samples, in steps, with the 1/sqrt(12) in them that steps themselves make.
    """
    noise = np.maximum(spreads**2 - _WITHIN_A_STEP**2, 0.0)
    return np.asarray(np.exp(-2.0 * math.pi**2 * noise) / math.pi)


def shared_of_steps(levels: Samples, spreads: Samples) -> Samples:
    """The covariance of values at some levels, in squares of a step, (levels, levels).

    Steps begin off by `UNLIKE` independently, and a mean over samples that spread normally weighs each by a bell curve
    around its level. The sum over all steps is taken as an integral: of two bell curves that is a bell curve of their
    distance.
    """
    return shared_between(levels, spreads, levels, spreads)


def shared_between(levels: Samples, spreads: Samples, others: Samples, their_spreads: Samples) -> Samples:
    """The same of values at some levels with others, (levels, others)."""
    squares = spreads[:, None] ** 2 + their_spreads[None, :] ** 2
    apart = levels[:, None] - others[None, :]
    return np.asarray(UNLIKE**2 * np.exp(-(apart**2) / (2.0 * squares)) / np.sqrt(2.0 * np.pi * squares))
