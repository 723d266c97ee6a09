"""Follows the rails: by the means of a cycle, or inside the cycle where their ripple counts.

Where f·R·C of the rails is `SLOWEST_CYCLES` or more, the means are followed (means.py). What that leaves out, from the
closed form of a half wave on a reservoir, where R and C are of one rail and RL is what all outputs on it make together:

* the onset of clipping lies 2.7 %·(R/RL)/(f·R·C)² higher in power: 0.03 % at R/RL = 0.7;
* the supply's current swings by (2/3)/(4π·f·R·C) of the peak in a cycle: 0.7 %.

Below it the rails are followed at 128 instants of a cycle, and in the steady state one cycle is found and repeated.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.circuit import EVEN, Circuit
from benchctl.simulator.amplifier.rails.means import RailCurve, Step, step_rail
from benchctl.simulator.amplifier.rails.moving import step_moving
from benchctl.simulator.amplifier.rails.solution import Unsolved
from benchctl.simulator.amplifier.rails.trace import Trace, TracedStep, steady, window
from benchctl.simulator.amplifier.rails.voltages import Rails, alike

Samples = NDArray[np.float64]

SLOWEST_CYCLES = 8.0
"""Cycles in a time constant of the rails from which the means of a cycle are followed."""

LEAST_RIPPLE_V = 1e-3
"""Rails that swing or differ by less than this are followed as one, by their means."""

REPEATS_V = 2e-4
"""This near to the cycle that repeats, the rails are on it."""

POINTS = 128
"""In a cycle; twice as many in the steady state, and more where a tone is more than one sine."""

FAST_POINTS = 32
"""In a cycle that is so short that only series resistance, or rails that differ, make it worth following."""

POINTS_PER_SINE = 16
"""In a cycle of the highest of a few sines."""

MOST_POINTS = 4096

FEWEST_POINTS = 8
IN_TIME_CONSTANT = 64
"""Points in a time constant, where no tone sets the pace."""

RAMP_STEP = 1 / 40
"""While a converter starts softly, the ramp moves in steps of so much of a time constant: the inrush is then right to
1.3 %."""

SHORTEST_RAMP_STEP_S = 5e-5

SOURCE_STEP_V = 0.1
"""A source on its way moves in steps of this size there: a hundredth of a vehicle's voltage."""

SETTLED = 10.0
"""Time constants after which rails without a tone have settled."""

WINDOW = 4.0
"""Time constants of the rails that are solved at once, or a cycle if that is longer."""

RAIL_DIGITS = 6
TIME_DIGITS = 9
"""Rails within a microvolt and times within a nanosecond are the same, so that a periodic rail is found to repeat."""

CURVES_KEPT = 1024
"""A burst train that is polled a few times a second repeats after some dozens of curves."""

POINTS_KEPT = 300_000
"""Of all traces in these curves."""


class RailFollower:
    """Remembers what it has worked out: bursts repeat, and so do their rails."""

    def __init__(self) -> None:
        self._curves: dict[tuple[Circuit, Rails, float, float], RailCurve] = {}
        self._cycles: dict[Circuit, Trace | None] = {}
        self._last_cycle_v: Samples | None = None
        self._points = 0

    def curve(self, circuit: Circuit, rails: Rails, phase: float, seconds: float) -> RailCurve:
        """The rails for `seconds` (more than 0) from `rails` on, at a phase of the tone in cycles."""
        within = _within_cycle(circuit, rails)
        rails = (rails if within else alike(rails.mean_v)).rounded(RAIL_DIGITS)
        key = (circuit, rails, round(phase % 1.0, TIME_DIGITS) if within else 0.0, round(seconds, TIME_DIGITS))
        curve = self._curves.get(key)
        if curve is None:
            if len(self._curves) >= CURVES_KEPT or self._points > POINTS_KEPT:
                self._curves.clear()
                self._cycles.clear()
                self._points = 0
            curve = self._curves[key] = RailCurve(tuple(self._steps(circuit, rails, phase, seconds)))
        return curve

    def _steps(self, circuit: Circuit, rails: Rails, phase: float, seconds: float) -> list[Step]:
        steps: list[Step] = []
        time_s = 0.0
        while time_s < seconds:
            step = self._step(circuit, rails, phase, time_s, seconds)
            steps.append(step)
            rails, time_s = step.end, step.end_s
        return steps

    def _step(self, circuit: Circuit, rails: Rails, phase: float, from_s: float, to_s: float) -> Step:
        if not _within_cycle(circuit, rails):
            step = step_moving if circuit.moves else step_rail
            return step(circuit, rails.mean_v, from_s, to_s)
        period_s = 1 / circuit.frequency_hz
        turned = (phase + from_s * circuit.frequency_hz) % 1.0
        if swings(circuit) and not circuit.moves:
            cycle = self._cycle(circuit, rails, worth=to_s - from_s > period_s)
            if cycle is not None and _near(cycle.reservoirs_at(turned * period_s), rails):
                return TracedStep(from_s, to_s, cycle, turned * period_s, repeats=True, circuit=circuit)
        window = self._window(circuit, rails, turned, from_s, to_s)
        return window if circuit.moves else _repeated(window, rails, period_s, to_s)

    def _cycle(self, circuit: Circuit, near: Rails, *, worth: bool) -> Trace | None:
        """The cycle that repeats, if it is known or `worth` being looked for."""
        if circuit not in self._cycles and worth:
            self._cycles[circuit] = self._steady(circuit, near)
        return self._cycles.get(circuit)

    def _steady(self, circuit: Circuit, near: Rails) -> Trace | None:
        """Found from the cycle that was found last: levels and loads mostly change little."""
        last_v = self._last_cycle_v
        points = 2 * max(_points(circuit), POINTS) + 1
        like = last_v is not None and last_v.shape == (2 if circuit.rails_apart else 1, points)
        try:
            cycle = steady(circuit, last_v if last_v is not None and like else near, points)
        except Unsolved:
            return None
        self._last_cycle_v = cycle.reservoirs_v
        return cycle

    def _window(self, circuit: Circuit, rails: Rails, phase: float, from_s: float, to_s: float) -> TracedStep:
        """As long a time as can be solved at once."""
        seconds, pace_s = _stretch_s(circuit, from_s, to_s)
        if circuit.moves:  # here a ramp moves in steps: it is what it is in the middle of each
            seconds = min(seconds, _even_s(circuit))
            circuit = circuit.after(from_s + seconds / 2)
        while True:
            points = max(math.ceil(seconds / pace_s), FEWEST_POINTS) + 1
            try:
                trace = window(circuit, rails, phase, seconds, points)
            except Unsolved:
                seconds /= 2
                continue
            self._points += points
            end_s = to_s if seconds >= to_s - from_s else from_s + seconds
            return TracedStep(from_s, end_s, trace, 0.0, repeats=False, circuit=circuit)


@lru_cache(maxsize=1024)  # asked some times in each step; circuits are told apart by identity
def swings(circuit: Circuit) -> bool:
    """Whether the ripple of this circuit's rails counts; rails that differ are always followed as what they are."""
    if circuit.sides != EVEN:
        return True
    slow = circuit.frequency_hz * circuit.time_constant_s < SLOWEST_CYCLES
    return ((slow or circuit.pumps) and circuit.ripple_v > LEAST_RIPPLE_V) or circuit.esr_v > LEAST_RIPPLE_V


def _within_cycle(circuit: Circuit, rails: Rails) -> bool:
    """Also while two rails are still further apart than their ripple, after a low tone."""
    if swings(circuit):
        return True
    return rails.apart_v > LEAST_RIPPLE_V and circuit.rails_apart and rails.apart_v > circuit.ripple_v


def _even_s(circuit: Circuit) -> float:
    """How long what moves counts as constant."""
    if circuit.converter.ratio_per_s:
        return max(RAMP_STEP * circuit.time_constant_s, SHORTEST_RAMP_STEP_S)
    return SOURCE_STEP_V / abs(circuit.source.v_per_s)


def _stretch_s(circuit: Circuit, from_s: float, to_s: float) -> tuple[float, float]:
    """How long a time is solved at once, and the time between two points of it."""
    left_s, tau_s = to_s - from_s, circuit.time_constant_s
    if circuit.drop_v > LEAST_RIPPLE_V:
        pace_s = 1 / (circuit.frequency_hz * _points(circuit))
        return min(left_s, max(WINDOW * tau_s, _points(circuit) * pace_s)), pace_s
    if from_s == 0:
        return min(left_s, SETTLED * tau_s), tau_s / IN_TIME_CONSTANT
    return left_s, left_s / POINTS  # nothing moves any more but what bleeds away


def _repeated(step: TracedStep, rails: Rails, period_s: float, to_s: float) -> TracedStep:
    """Over and over, if it is a cycle that ended where it began, at `rails`: a supply at its current limit has more
    than one cycle that repeats, and the one that was found may be another."""
    is_cycle = math.isclose(step.trace.seconds, period_s, rel_tol=1e-9)
    return replace(step, end_s=to_s, repeats=True) if is_cycle and _near(step.end, rails) else step


def _points(circuit: Circuit) -> int:
    """In a cycle."""
    waves = [stage.wave for stage in circuit.stages if stage.wave is not None]
    highest = max([int(wave.multiples.max(initial=1)) for wave in waves], default=1)
    slow = circuit.frequency_hz * circuit.time_constant_s < SLOWEST_CYCLES
    return min(max(POINTS if slow else FAST_POINTS, POINTS_PER_SINE * highest), MOST_POINTS)


def _near(one: Rails, other: Rails) -> bool:
    return abs(one.plus_v - other.plus_v) < REPEATS_V and abs(one.minus_v - other.minus_v) < REPEATS_V
