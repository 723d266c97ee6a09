"""How the peaks of a burst sink, cycle by cycle: what the rails do, and how stiff they are.

A reservoir that empties through the converter's source resistance lets the peak follow
p(t) = p_end + (p_start - p_end) exp(-t / tau), with tau the product of that resistance and the capacitance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from benchctl.errors import RecordTooShort, SilentRecord
from benchctl.measure.signal.record import Samples
from benchctl.measure.uncertainty import Scatter, measured, scattered

_FEWEST_CYCLES = 5  # three unknowns, and scatter to judge the fit by
_CLEAR_FALL = 4.0  # times the scatter of a peak: less is not a droop whose shape could be told
_LARGEST_RELATIVE_U = 0.05
"""Standard. Noise shifts the rate 1/tau evenly, so a tau that came out short has the smaller u. Where many benches are
near this limit, only those are told that came out short. With a limit twice as wide that was so of benches of 8 bits: a
tenth of what they told was outside U, in a campaign over 452 of them."""
_GRID = 80  # trial time constants, evenly spaced in their logarithm: near enough for the steps that follow
_STEPS = 12


@dataclass(frozen=True)
class Droop:
    """`ratio`: by what part the last peak is below the first. `time_constant_s`: None where the record cannot tell."""

    ratio: UFloat
    time_constant_s: UFloat | None


def find_droop(times_s: Samples, peaks: Samples, peak_noise: float) -> Droop:
    """Droop from the cycles' peaks, shape (cycles,), each with the standard uncertainty `peak_noise` of its own.

    Errors of gain cancel in the ratio, so only what differs from cycle to cycle counts.

    Raises:
        RecordTooShort: fewer than two cycles.
        SilentRecord: the first cycle has no peak.
    """
    if peaks.size < 2:
        raise RecordTooShort("droop needs at least two cycles")
    if not peaks[0] > 0.0:
        raise SilentRecord("the first cycle of the burst has no peak")
    first, last = measured(float(peaks[0]), peak_noise), measured(float(peaks[-1]), peak_noise)
    return Droop(1.0 - last / first, _time_constant(times_s - times_s[0], peaks, peak_noise))


def _time_constant(times_s: Samples, peaks: Samples, peak_noise: float) -> UFloat | None:
    if peaks.size < _FEWEST_CYCLES or peaks[0] - peaks[-1] < _CLEAR_FALL * peak_noise:
        return None
    # Longer than ten bursts is a straight line within one, shorter than a third of a cycle is over at the first.
    trials = np.geomspace(times_s[1] / 3.0, times_s[-1] * 10.0, _GRID)
    squares = [_linear_fit(times_s, peaks, tau)[1] for tau in trials]
    best = int(np.argmin(squares))
    if best in (0, trials.size - 1):
        return None
    return _refine(times_s, peaks, float(trials[best]), peak_noise)


def _linear_fit(times_s: Samples, peaks: Samples, tau_s: float) -> tuple[Samples, float]:
    """[p_end, p_start - p_end] for one time constant, and the sum of squares left."""
    design = np.column_stack([np.ones(times_s.size), np.exp(-times_s / tau_s)])
    weights = np.linalg.lstsq(design, peaks, rcond=None)[0]
    left = peaks - design @ weights
    return weights, float(left @ left)


def _refine(times_s: Samples, peaks: Samples, tau_s: float, peak_noise: float) -> UFloat | None:
    """Gauss-Newton from the best trial; u from the curvature and the larger of scatter and known noise."""
    for _ in range(_STEPS):
        (end, fall), squares = _linear_fit(times_s, peaks, tau_s)
        decay = np.exp(-times_s / tau_s)
        design = np.column_stack([np.ones(times_s.size), decay, fall * decay * times_s / tau_s**2])
        step = float(np.linalg.lstsq(design, peaks - end - fall * decay, rcond=None)[0][2])
        tau_s += max(step, -tau_s / 2.0)
    freedom = times_s.size - 3
    is_seen = squares / freedom > peak_noise**2
    variance = squares / freedom if is_seen else peak_noise**2
    normal = design.T @ design
    if not np.linalg.cond(normal) < 1.0 / np.finfo(np.float64).eps:
        return None
    u_s = math.sqrt(variance * float(np.linalg.inv(normal)[2, 2]))
    known = fall > 0.0 and 0.0 < u_s < _LARGEST_RELATIVE_U * tau_s
    if not known:
        return None
    return tau_s + scattered(u_s, Scatter(freedom)) if is_seen else measured(tau_s, u_s)
