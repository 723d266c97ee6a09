"""Levenberg-Marquardt with geodesic acceleration, and a check of whether it has arrived.

The valleys of this problem are curved: a step along the tangent leaves them. So each step is bent by the second
derivative along itself, which costs one more pass through the model (Transtrum and Sethna, arXiv:1201.5885). Every
coordinate has its plausible value as one more residual, so the equations always have a solution.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
Residuals = Callable[[Samples], Samples]
Jacobian = Callable[[Samples], tuple[Samples, Samples]]

MOST_STEPS = 40
ARRIVED = 0.1
"""Of a standard deviation: a step that moves no coordinate by more is the last."""

NO_GAIN = 0.005
PATIENCE = 3
"""So many steps in a row that lower the sum of squares by less than `NO_GAIN` (1 is one standard deviation) are the
last: corners of clipped sines make the last of the way rough."""

MOST_TRIED = 8

LEFT_OVER = 0.3
"""Of a standard deviation: a Gauss-Newton step that is left over beyond this means that it has not converged."""

MOST_BENT = 0.75
"""The bend may be this part of the step at most (Transtrum and Sethna)."""

FARTHEST = 1.0
"""Plausible standard deviations that a step may go."""

_ALONG = 0.1
_PARTS = (1.0, 0.5, 0.25)
"""Of an undamped step, tried in turn."""


@dataclass(frozen=True)
class Solution:
    """Where it has arrived.

    Attributes:
        coordinates: of all parameters.
        covariance: of the coordinates.
        misfit: sum of squares of the residuals, without those of the plausible values.
        left_over: the Gauss-Newton step still to go, in standard deviations of each coordinate.
        steps: that were taken.
        jacobian: there, (values, parameters), without the plausible values.
        residuals: there.
        held: coordinates that were left where they are, since no step of them led down.
    """

    coordinates: Samples
    covariance: Samples
    misfit: float
    left_over: Samples
    steps: int
    jacobian: Samples
    residuals: Samples
    held: tuple[int, ...] = ()

    @property
    def cost(self) -> float:
        """Sum of squares with those of the plausible values."""
        return _cost(self.residuals, self.coordinates)

    @property
    def has_converged(self) -> bool:
        """Whether nothing worth mentioning is left to go, but for what is held."""
        return bool(np.all(np.abs(np.delete(self.left_over, self.held)) < LEFT_OVER))


def solve(
    residuals: Residuals, jacobian: Jacobian, start: Samples, near: float = ARRIVED, rough: Sequence[int] = ()
) -> Solution:
    """The least sum of squares near `start`. It ends where a step would move no coordinate by more than `near` standard
    deviations, or where steps gain nothing more. Where none leads down, `rough` coordinates are left where they are,
    and only the others move."""
    here, damping, idle = start, 1e-3, 0
    errors, slopes = _slopes_at(jacobian, here)
    for steps in range(MOST_STEPS):
        normal, gradient = _normal(slopes, errors, here)
        if _is_small(normal, gradient, near):
            return _arrived(here, errors, slopes, steps)
        found = None if idle == PATIENCE else _step(residuals, here, errors, slopes, damping)
        if found is None:
            found = _straight_step(residuals, here, errors, slopes, rough)
        if found is None:
            return _holding(_arrived(here, errors, slopes, steps), rough)
        before = _cost(errors, here)
        here, damping = found
        errors, slopes = _slopes_at(jacobian, here)
        idle = idle + 1 if before - _cost(errors, here) < NO_GAIN else 0
    return _arrived(here, errors, slopes, MOST_STEPS)


def _step(
    residuals: Residuals, here: Samples, errors: Samples, slopes: Samples, damping: float
) -> tuple[Samples, float] | None:
    """The next coordinates and damping; None where no step leads down."""
    normal, gradient = _normal(slopes, errors, here)
    cost = _cost(errors, here)
    for _ in range(MOST_TRIED):
        step = _damped(normal, gradient, damping)
        bend = _bend(residuals, here, errors, slopes, step, damping)
        for there in (here + step + bend, here + step) if bend is not None else (here + step,):
            if _cost_at(residuals, there) < cost:
                return there, max(damping / 10.0, 1e-9)
        damping *= 16.0
    return None


def _straight_step(
    residuals: Residuals, here: Samples, errors: Samples, slopes: Samples, rough: Sequence[int]
) -> tuple[Samples, float] | None:
    """An undamped Gauss-Newton step of all coordinates or a part of it, each bent; else a plain one of all but the
    rough coordinates. None where these gain next to nothing: in a narrow valley any damping holds back what leads along
    it."""
    normal, gradient = _normal(slopes, errors, here)
    enough = _cost(errors, here) - NO_GAIN
    step = -_inverse(normal) @ gradient
    for part in _PARTS:
        bend = _bend(residuals, here, errors, slopes, part * step, 0.0)
        there = here + part * step + (0.0 if bend is None else bend)
        if _cost_at(residuals, there) < enough:
            return there, 1e-3
    if not rough:
        return None
    others = np.delete(np.arange(len(here)), np.array(rough, dtype=np.int64))
    there = here.copy()
    there[others] -= _inverse(normal[np.ix_(others, others)]) @ gradient[others]
    return (there, 1e-3) if _cost_at(residuals, there) < enough else None


def _holding(arrived: Solution, rough: Sequence[int]) -> Solution:
    """With the rough coordinates as held that still had a way to go."""
    return replace(arrived, held=tuple(place for place in rough if abs(arrived.left_over[place]) >= LEFT_OVER))


def _arrived(here: Samples, errors: Samples, slopes: Samples, steps: int) -> Solution:
    normal, gradient = _normal(slopes, errors, here)
    covariance = _inverse(normal)
    left = -covariance @ gradient / np.sqrt(np.diag(covariance))
    return Solution(here, covariance, float(errors @ errors), left, steps, slopes, errors)


def _cost(errors: Samples, here: Samples) -> float:
    return float(errors @ errors + here @ here)


def _trying() -> np.errstate:
    """Of a step that is tried numpy need not warn: where it leads to no numbers, it is not taken."""
    return np.errstate(over="ignore", invalid="ignore", divide="ignore")


def _cost_at(residuals: Residuals, there: Samples) -> float:
    """Infinite where a step goes so far that the model gives no numbers."""
    with _trying():
        cost = _cost(residuals(there), there)
    return cost if math.isfinite(cost) else math.inf


def _slopes_at(jacobian: Jacobian, here: Samples) -> tuple[Samples, Samples]:
    """Also of a start from which the model gives no numbers: the fit then has not converged."""
    with _trying():
        return jacobian(here)


def _normal(slopes: Samples, errors: Samples, here: Samples) -> tuple[Samples, Samples]:
    return slopes.T @ slopes + np.eye(len(here)), slopes.T @ errors + here


def _inverse(normal: Samples) -> Samples:
    scale = 1.0 / np.sqrt(np.diag(normal))
    scaled = np.linalg.inv(normal * scale[:, None] * scale[None])
    return np.asarray(scaled * scale[:, None] * scale[None])


def _damped(normal: Samples, gradient: Samples, damping: float) -> Samples:
    scale = 1.0 / np.sqrt(np.diag(normal))
    scaled = normal * scale[:, None] * scale[None] + damping * np.eye(len(scale))
    step = -scale * np.linalg.solve(scaled, scale * gradient)
    return np.asarray(step * min(1.0, FARTHEST / max(float(np.abs(step).max()), 1e-300)))


def _is_small(normal: Samples, gradient: Samples, near: float) -> bool:
    covariance = _inverse(normal)
    step = covariance @ gradient
    return bool(np.all(np.abs(step) < near * np.sqrt(np.diag(covariance))))


def _bend(  # noqa: PLR0917
    residuals: Residuals, here: Samples, errors: Samples, slopes: Samples, step: Samples, damping: float
) -> Samples | None:
    """Half the acceleration along the step; None where it is so large that the step is not to be trusted."""
    with _trying():
        ahead = residuals(here + _ALONG * step)
        second = 2.0 / _ALONG * ((ahead - errors) / _ALONG - slopes @ step)
    if not np.isfinite(second).all():
        return None
    normal, _ = _normal(slopes, errors, here)
    bend = _damped(normal, slopes.T @ second, damping) / 2.0
    scale = np.sqrt(np.diag(normal))
    if 2.0 * np.linalg.norm(bend * scale) > MOST_BENT * np.linalg.norm(step * scale):
        return None
    return bend
