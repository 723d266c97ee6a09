"""The end of a warming or cooling predicted while it is still under way.

A heatsink goes to its final temperature as T(t) = T_end + A_slow exp(-t/tau_slow) + A_fast exp(-t/tau_fast), both
amplitudes of one sign (a Foster network of two stages after a step of power; common practice). For given time
constants the rest is linear. How slow the slow stage is decides where the curve ends, and a young curve tells it badly.
So every curve that the readings allow, of one stage or two, is kept with its likelihood, and the final temperature is
the mean over all of them, its uncertainty their scatter: wide at first, narrow once the curve has bent.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.errors import MeasurementError
from benchctl.measure.uncertainty import COVERAGE_FACTOR

Array = NDArray[np.float64]

_FEWEST_READINGS = 8  # five parameters, and something left to judge the fit by
_MOST_POINTS = 120  # longer series are averaged in blocks: as good for a curve this smooth, and fast
_SLOW_GRID = 60
_FAST_GRIDS = (20, 9, 9, 9, 9)  # drawn closer again and again: a coarse grid would favour slow constants by chance
_SLOWEST = 20.0  # spans of the record; a slower stage looks like a straight line, whose end nobody can tell
_ZOOMS = 3
_UNLIKELY = 16.0  # rise of chi squared (four standard deviations) beyond which a time constant is given up
_HOPELESS = 1e12  # sum of squares, in K², of a curve that cannot be
_REACH = 10.0  # of what the readings span: so far away an end is thought possible before any is read
_FITTED_OF_TWO = 4  # end, two amplitudes, and the fast time constant
_ROOT_TWO_PI = math.sqrt(2.0 * math.pi)
_RIDGE = 1e-13  # of a normal matrix's trace, where two time constants are all but the same


@dataclass(frozen=True)
class Curve:
    """How a temperature moves to its end, `final_c`: the amplitudes (K) and time constants (s) of its one or two
    stages, with t = 0 now."""

    final_c: float
    amplitudes_k: tuple[float, ...]
    time_constants_s: tuple[float, ...]

    @property
    def now_c(self) -> float:
        """The temperature now."""
        return self.final_c + sum(self.amplitudes_k)

    def temperature_c(self, from_now_s: float) -> float:
        """The temperature after so many seconds."""
        stages = zip(self.amplitudes_k, self.time_constants_s, strict=True)
        return self.final_c + sum(a * math.exp(-from_now_s / tau) for a, tau in stages)

    def reaches_s(self, temperature_c: float) -> float | None:
        """Seconds until the curve meets a temperature; None where it ends before."""
        now_k, end_k = self.now_c - temperature_c, self.final_c - temperature_c
        if now_k == 0.0:
            return 0.0
        if now_k * end_k >= 0.0:
            return None
        return self._when(lambda from_now_s: (self.temperature_c(from_now_s) - temperature_c) * now_k <= 0.0)

    def steadies_s(self, change_k: float, per_s: float) -> float:
        """Seconds until the temperature changes by no more than `change_k` over `per_s`.

        Raises:
            MeasurementError: the change is not above zero.
        """
        if not change_k > 0.0:
            raise MeasurementError(f"a temperature never changes by less than {change_k} K")
        return self._when(
            lambda from_now_s: abs(self.temperature_c(from_now_s + per_s) - self.temperature_c(from_now_s)) <= change_k
        )

    def _when(self, is_so: Callable[[float], bool]) -> float:
        """The earliest time of what comes about once and stays so: the way to the end only gets shorter and flatter,
        as both amplitudes have one sign."""
        if is_so(0.0):
            return 0.0
        early_s, late_s = 0.0, max(self.time_constants_s)
        while not is_so(late_s):
            early_s, late_s = late_s, 2.0 * late_s
        for _ in range(50):
            middle_s = (early_s + late_s) / 2.0
            if is_so(middle_s):
                late_s = middle_s
            else:
                early_s = middle_s
        return late_s


def heating(now_c: float, ambient_c: float, heat_w: float, k_per_w: float, time_constant_s: float) -> Curve:
    """How a heatsink warms under constant heat, by its thermal resistance to the air and its time constant."""
    final_c = ambient_c + heat_w * k_per_w
    return Curve(final_c=final_c, amplitudes_k=(now_c - final_c,), time_constants_s=(time_constant_s,))


@dataclass(frozen=True)
class Prediction(Curve):
    """A curve found from readings: now is the last of them, freed of scatter.

    The final temperature has `expanded_uncertainty_k` (k = 2). `time_constants_u` are the standard uncertainties of the
    natural logarithms of the time constants, which are about the relative ones.
    """

    expanded_uncertainty_k: float
    time_constants_u: tuple[float, ...] = ()

    def is_good_to(self, tolerance_k: float) -> bool:
        """Whether the final temperature is known to `tolerance_k`, so that there is no need to wait for it."""
        return self.expanded_uncertainty_k <= tolerance_k


def predict_final_temperature(
    times_s: Sequence[float], temperatures_c: Sequence[float], resolution_k: float = 0.01
) -> Prediction:
    """The final temperature of a curve that is still rising or falling.

    `resolution_k` is the thermometer's step: readings are never trusted better than its rounding.

    Raises:
        MeasurementError: fewer than eight readings, unreadable ones, or times that do not rise.
    """
    times, temperatures = _in_blocks(*_usable(times_s, temperatures_c))
    span_s = float(times[-1] - times[0])
    before_end = (times - times[-1]) / span_s  # -1 ... 0: scaled, and counted from now
    mean_c = float(np.mean(temperatures))
    fits = _Fits(before_end, temperatures - mean_c, resolution_k)
    kinds = [_likely_curves(_single_stages, fits), _likely_curves(_double_stages, fits)]
    return _summary(fits, kinds, mean_c, span_s)


class _Fits:
    """Fits of the curve to readings y at scaled times x, for many pairs of time constants at once."""

    def __init__(self, x: Array, y: Array, resolution_k: float) -> None:
        self.x, self.y = x, y
        self.step = float(np.median(np.diff(x)))
        self.reach_k = _REACH * float(np.ptp(y)) + resolution_k
        self._least_scatter = resolution_k / math.sqrt(12.0)

    def stage(self, tau: Array) -> Array:
        """exp(-x/tau), 1 at the first reading, where counted from now it would be large: shape (*tau.shape, x.size)."""
        result: Array = np.exp((self.x[0] - self.x) / tau[..., None])
        return result

    def design(self, *columns: Array) -> Array:
        """The columns beside a column of ones for the end."""
        return np.stack([np.ones_like(columns[0]), *columns], axis=-1)

    def solve(self, *taus: Array) -> tuple[Array, Array]:
        """Least squares for each element of `taus` (one or two arrays of one shape).

        Returns the coefficients (..., 1 + stages), the end first and amplitudes as they were at the first reading,
        and the sum of squared residuals.
        """
        design = self.design(*(self.stage(tau) for tau in taus))
        coefficients: Array = (_covariance(design) @ (np.swapaxes(design, -1, -2) @ self.y)[..., None])[..., 0]
        residual = self.y - (design @ coefficients[..., None])[..., 0]
        squares: Array = np.sum(residual**2, axis=-1)
        return coefficients, squares

    def scatter(self, squares: float) -> float:
        """Standard deviation of the readings about a curve with five parameters."""
        return max(math.sqrt(squares / (self.x.size - 5)), self._least_scatter)


def _covariance(design: Array) -> Array:
    """Of the coefficients, for a scatter of 1."""
    normal = np.swapaxes(design, -1, -2) @ design
    ridge = _RIDGE * np.trace(normal, axis1=-2, axis2=-1)[..., None, None] * np.eye(normal.shape[-1])
    inverse: Array = np.linalg.inv(normal + ridge)
    return inverse


@dataclass(frozen=True)
class _Curves:
    """For each slow time constant the best curve there is: one row of coefficients (end, slow, fast) and its fit.

    `covariance` is that of all that was fitted for this slow time constant, the end first, for a scatter of 1. The
    last of a curve with two stages is the shift of the fast amplitude that goes with a shift of log tau_fast.
    """

    log_tau: Array
    log_tau_fast: Array
    coefficients: Array
    squares: Array
    covariance: Array

    @property
    def stages(self) -> int:
        """How many stages these curves have."""
        return 2 if self.covariance.shape[-1] == _FITTED_OF_TWO else 1

    def log_tau_u(self, taus: Array, scatter: float, reach_k: float) -> tuple[float, float]:
        """Standard uncertainties of the logarithms of both time constants: how far those of likely curves are from
        `taus`, and how badly each curve tells its fast one."""
        evidence = self.log_evidence(scatter, reach_k)
        weights = np.exp(evidence - evidence.max())
        weights /= weights.sum()
        slow = weights @ (self.log_tau - math.log(taus[0])) ** 2
        fast = weights @ (self.log_tau_fast - math.log(taus[1])) ** 2
        if self.stages == 2:
            fast_k = np.maximum(np.abs(self.coefficients[:, 2]), np.finfo(np.float64).tiny)
            fast += weights @ np.minimum(self.covariance[:, -1, -1] * scatter**2 / fast_k**2, 1.0)
        return math.sqrt(float(slow)), math.sqrt(float(fast))

    def log_evidence(self, scatter: float, reach_k: float) -> Array:
        """How much speaks for each curve: its likelihood times the share of what was possible that it leaves possible.

        A second stage fits better, but has more that must be just so (Laplace's approximation to the integral over
        what was fitted; before any reading, all within `reach_k` and all time constants of a scale are equally likely).
        """
        fitted = self.covariance.shape[-1]
        shares = 0.5 * np.linalg.slogdet(self.covariance)[1] + fitted * math.log(scatter * _ROOT_TWO_PI / reach_k)
        if self.stages == 2:
            widest = math.log(_SLOWEST) - self.log_tau_fast.min()
            fast_k = np.maximum(np.abs(self.coefficients[:, 2]), scatter * np.sqrt(self.covariance[:, -1, -1]) / widest)
            shares += np.log(reach_k / (fast_k * widest))
        step = (self.log_tau[-1] - self.log_tau[0]) / (self.log_tau.size - 1)
        evidence: Array = shares + math.log(step) - self.squares / (2.0 * scatter**2)
        return evidence


def _likely_curves(curves_of: Callable[[_Fits, Array], _Curves], fits: _Fits) -> _Curves:
    """The curves that the readings allow, on a grid of slow time constants that is drawn closer about them."""
    low, high = math.log(2.0 * fits.step), math.log(_SLOWEST)
    curves = curves_of(fits, np.linspace(low, high, _SLOW_GRID))
    for _ in range(_ZOOMS):
        least = float(curves.squares.min())
        likely = np.flatnonzero(curves.squares - least <= _UNLIKELY * fits.scatter(least) ** 2)
        first, last = max(likely[0] - 1, 0), min(likely[-1] + 1, _SLOW_GRID - 1)
        curves = curves_of(fits, np.linspace(curves.log_tau[first], curves.log_tau[last], _SLOW_GRID))
    return curves


def _single_stages(fits: _Fits, log_tau: Array) -> _Curves:
    coefficients, squares = fits.solve(np.exp(log_tau))
    padded = np.concatenate([coefficients, np.zeros((log_tau.size, 1))], axis=1)
    return _Curves(log_tau, log_tau, padded, squares, _covariance(fits.design(fits.stage(np.exp(log_tau)))))


class _SecondStages:
    """Fits with a fast stage beside each slow one, by Gram-Schmidt: what the constant and the slow stage hold is taken
    out of readings and fast stage, so that each of the many fits is one division."""

    def __init__(self, fits: _Fits, slow: Array) -> None:
        self._fits = fits
        stages = _centred(fits.stage(slow))
        self._directions = stages / np.linalg.norm(stages, axis=-1, keepdims=True)
        y = _centred(fits.y)
        self._along = self._directions @ y[:, None]
        self._left = y - self._along * self._directions
        self._squares = np.sum(self._left**2, axis=-1, keepdims=True)

    def squares(self, fast: Array) -> Array:
        """Sums of squares for time constants of shape (slow, any); hopeless where the two amplitudes differ in sign."""
        stages = _centred(self._fits.stage(fast))
        along = (stages @ self._directions[..., None])[..., 0]
        stages -= along[..., None] * self._directions[:, None, :]
        amplitudes = (stages @ self._left[..., None])[..., 0]
        lengths = np.einsum("kpn,kpn->kp", stages, stages)
        fast_k = amplitudes / lengths
        slow_k = self._along - fast_k * along
        squares: Array = np.where(fast_k * slow_k >= 0.0, self._squares - fast_k * amplitudes, _HOPELESS)
        return squares


def _centred(columns: Array) -> Array:
    """Without the mean of each, which is what a constant fits."""
    centred: Array = columns - columns.mean(axis=-1, keepdims=True)
    return centred


def _double_stages(fits: _Fits, log_tau: Array) -> _Curves:
    """The best second, faster stage beside each slow one; hopeless where its sign would be the other."""
    slow, rows = np.exp(log_tau), np.arange(log_tau.size)
    seconds = _SecondStages(fits, slow)
    low, high = np.full(slow.size, math.log(fits.step / 2.0)), np.log(0.9 * slow)
    for points in _FAST_GRIDS:
        grid = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, points)
        best = np.argmin(seconds.squares(np.exp(grid)), axis=1)
        low, high = grid[rows, np.maximum(best - 1, 0)], grid[rows, np.minimum(best + 1, points - 1)]
    log_fast = grid[rows, best]
    coefficients, squares = fits.solve(slow, np.exp(log_fast))
    squares = np.where(coefficients[:, 1] * coefficients[:, 2] >= 0.0, squares, _HOPELESS)
    fast = fits.stage(np.exp(log_fast))
    tangent = fast * (fits.x - fits.x[0]) / np.exp(log_fast)[:, None]  # of the fast stage, in log tau
    covariance = _covariance(fits.design(fits.stage(slow), fast, tangent))
    return _Curves(log_tau, log_fast, coefficients, squares, covariance)


def _summary(fits: _Fits, kinds: Sequence[_Curves], mean_c: float, span_s: float) -> Prediction:
    """The mean over all curves of all kinds, each with the weight of its evidence."""
    scatter = fits.scatter(min(float(curves.squares.min()) for curves in kinds))
    evidence = np.concatenate([curves.log_evidence(scatter, fits.reach_k) for curves in kinds])
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    coefficients = np.concatenate([curves.coefficients for curves in kinds])
    variances = np.concatenate([curves.covariance[:, 0, 0] for curves in kinds]) * scatter**2
    ends = coefficients[:, 0]
    end = float(weights @ ends)
    best = int(np.argmax(weights))
    taus = np.exp(
        [float(np.concatenate([getattr(c, name) for c in kinds])[best]) for name in ("log_tau", "log_tau_fast")]
    )
    amplitudes = coefficients[best, 1:] * np.exp((fits.x[0] - fits.x[-1]) / taus)
    # The curve is the likeliest one, shifted in its slow part so that it ends where the mean over all of them does.
    amplitudes[0] += ends[best] - end
    kept = 2 if coefficients[best, 2] != 0.0 else 1
    kind = next(curves for curves in kinds if curves.stages == kept)
    return Prediction(
        final_c=mean_c + end,
        expanded_uncertainty_k=COVERAGE_FACTOR * math.sqrt(float(weights @ ((ends - end) ** 2 + variances))),
        amplitudes_k=tuple(float(amplitude) for amplitude in amplitudes[:kept]),
        time_constants_s=tuple(float(tau) * span_s for tau in taus[:kept]),
        time_constants_u=kind.log_tau_u(taus, scatter, fits.reach_k)[:kept],
    )


def _usable(times_s: Sequence[float], temperatures_c: Sequence[float]) -> tuple[Array, Array]:
    times = np.asarray(times_s, dtype=np.float64)
    temperatures = np.asarray(temperatures_c, dtype=np.float64)
    if times.ndim != 1 or times.shape != temperatures.shape or times.size < _FEWEST_READINGS:
        raise MeasurementError(f"a temperature is predicted from {_FEWEST_READINGS} readings or more, not {times.size}")
    if not (np.all(np.isfinite(times)) and np.all(np.isfinite(temperatures))):
        raise MeasurementError("a time or a temperature is not a number")
    if not np.all(np.diff(times) > 0.0):
        raise MeasurementError("the times of the temperature readings do not rise")
    return times, temperatures


def _in_blocks(times: Array, temperatures: Array) -> tuple[Array, Array]:
    """Means of equal blocks of readings, at most `_MOST_POINTS`; the first few that fill no block are left out."""
    block = math.ceil(times.size / _MOST_POINTS)
    surplus = times.size % block
    shape = (-1, block)
    return times[surplus:].reshape(shape).mean(axis=1), temperatures[surplus:].reshape(shape).mean(axis=1)
