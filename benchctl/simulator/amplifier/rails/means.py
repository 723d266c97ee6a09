"""The rail between two events: one exponential at a time.

Between events dV/dt = f(V) with f linear in V as long as nothing clips and nothing is class D, and smooth otherwise.
Each step follows the exponential that the linearised equation gives (an exponential Rosenbrock-Euler step): exact where
f is linear, of any length where the rail is at rest, and shortened where f is not as linear as forecast.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from operator import mul
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.circuit import Circuit, Flows
from benchctl.simulator.amplifier.rails.voltages import Rails, alike

Samples = NDArray[np.float64]

Values = float | Samples

Seen = Callable[[Values, Values, Values], int | NDArray[np.int64]]
"""A number for what is seen of the terminals' voltage and current and of the higher rail, at one instant or at each of
many."""

TOLERANCE_V = 3e-5
"""Largest error of one step: a millionth of a rail, far inside the 0.1 % that the energy must balance to."""

AT_REST_V = 1e-7
"""A rail that moves less than this over a step counts as constant in the energy sums."""


NOTICED_S = 0.0005
"""So near in time it is found when a level is passed."""


class Step(Protocol):
    """A part of a rail's curve. All times are those of the curve, and inside the step."""

    @property
    def start_s(self) -> float: ...

    @property
    def end_s(self) -> float: ...

    @property
    def circuit(self) -> Circuit: ...

    @property
    def end(self) -> Rails:
        """The rails when it ends."""

    def rails_v(self, times_s: Samples) -> Samples:
        """The rails: one row for both where they are alike, else two."""

    def terminals(self, times_s: Samples) -> tuple[Samples, Samples]:
        """Voltage at the amplifier's terminals, and current."""

    def supply_sums(self, from_s: float, to_s: float) -> tuple[float, float]:
        """Volts and amperes at the supply's own terminals, in V·s and A·s."""

    def mean_flows(self) -> Flows:
        """Mean power over the step."""

    def departs_s(self, seen: Seen) -> float | None:
        """When what is seen at the terminals first differs from the start; None if it does not within the step."""

    def until(self, end_s: float) -> Self:
        """The same step, but it ends sooner."""


def passed_s(low_s: float, high_s: float, seen_at: Callable[[float], int]) -> float:
    """Just after what is seen changes, between a time before that and one after it; found by halving."""
    first = seen_at(low_s)
    while high_s - low_s > NOTICED_S:
        middle_s = (low_s + high_s) / 2
        if seen_at(middle_s) == first:
            low_s = middle_s
        else:
            high_s = middle_s
    return high_s


@dataclass(frozen=True, slots=True)
class RailStep:
    """The rail between two times of its run, in one circuit: V(t) = V0 + slope·(exp(decay·t) - 1)/decay."""

    start_s: float
    end_s: float
    start_v: float
    slope_v_per_s: float
    decay_per_s: float
    circuit: Circuit

    @property
    def end_v(self) -> float:
        """The rail when the step ends."""
        return self.start_v + self.slope_v_per_s * growth(self.decay_per_s, self.end_s - self.start_s)

    @property
    def end(self) -> Rails:
        """Both rails, as one, when the step ends."""
        return alike(self.end_v)

    def rail_v(self, times_s: Samples) -> Samples:
        """The rail at many times, all of them inside the step."""
        since = times_s - self.start_s
        if self.decay_per_s == 0:
            return self.start_v + self.slope_v_per_s * since
        moved = np.expm1(self.decay_per_s * since) / self.decay_per_s
        return np.asarray(self.start_v + self.slope_v_per_s * moved, dtype=np.float64)

    def rails_v(self, times_s: Samples) -> Samples:
        """Both rails in one row, for they are alike."""
        return self.rail_v(times_s)[None]

    def terminals(self, times_s: Samples) -> tuple[Samples, Samples]:
        """Voltage at the amplifier's terminals, and current: straight lines in the rail within a step."""
        draws = [self.circuit.converter.draw(self.circuit.source, rail_v) for rail_v in (self.start_v, self.end_v)]
        moved_v = self.end_v - self.start_v
        part = (self.rail_v(times_s) - self.start_v) / moved_v if moved_v else np.zeros_like(times_s)
        terminal_v, supply_a = (
            np.asarray(first + part * (last - first), dtype=np.float64)
            for first, last in zip(draws[0][:2], draws[1][:2], strict=True)
        )
        return terminal_v, supply_a

    def supply_sums(self, from_s: float, to_s: float) -> tuple[float, float]:
        """At the mean of the rail, for all of it is straight in the rail within a step."""
        part = self.part(from_s, to_s)
        draw = self.circuit.converter.draw(self.circuit.source, part.start_v + part.moments()[0])
        return self.circuit.supply_v(draw) * (to_s - from_s), draw.supply_a * (to_s - from_s)

    def departs_s(self, seen: Seen) -> float | None:
        """A rail that follows means moves one way only, so a level is passed once at most."""
        first = self._seen(seen, self.start_s)
        if first == self._seen(seen, self.end_s):
            return None
        return passed_s(self.start_s, self.end_s, lambda time_s: self._seen(seen, time_s))

    def until(self, end_s: float) -> RailStep:
        """The same curve, but it ends sooner."""
        return replace(self, end_s=end_s)

    def _seen(self, seen: Seen, time_s: float) -> int:
        rail_v = self.start_v + self.slope_v_per_s * growth(self.decay_per_s, time_s - self.start_s)
        draw = self.circuit.converter.draw(self.circuit.source, rail_v)
        return int(seen(draw.terminal_v, draw.supply_a, rail_v))

    def part(self, from_s: float, to_s: float) -> RailStep:
        """The same curve between two times inside the step."""
        since = max(from_s - self.start_s, 0.0)
        start_v = self.start_v + self.slope_v_per_s * growth(self.decay_per_s, since)
        slope = self.slope_v_per_s * math.exp(self.decay_per_s * since)
        return RailStep(from_s, to_s, start_v, slope, self.decay_per_s, self.circuit)

    def moments(self) -> tuple[float, float]:
        """Means over the step of (V - V0) and (V - V0)²."""
        seconds = self.end_s - self.start_s
        rate = self.decay_per_s * seconds
        if abs(rate) < 1e-4:  # below this the closed form loses more digits than the straight line does
            change = self.slope_v_per_s * seconds
            return change / 2, change**2 / 3
        scale = self.slope_v_per_s / self.decay_per_s
        once, twice = math.expm1(rate) / rate, math.expm1(2 * rate) / (2 * rate)
        return scale * (once - 1), scale**2 * (twice - 2 * once + 1)

    def mean_flows(self) -> Flows:
        """Mean power over the step, exact for powers that are quadratic in V, which they are between clippings."""
        change = self.end_v - self.start_v
        start = _flows(self.circuit, self.start_v)
        if abs(change) < AT_REST_V:
            return start
        first, second = self.moments()
        first, second = first / change, second / change**2
        weights = (1 - 3 * first + 2 * second, 4 * (first - second), 2 * second - first)
        middle = self.circuit.flows(self.start_v + change / 2)
        return weighted(weights, (start, middle, _flows(self.circuit, self.end_v)))


@dataclass(frozen=True)
class RailCurve:
    """The rails over a stretch of time in one circuit, step by step, its times counted from its start."""

    steps: tuple[Step, ...]
    """they follow each other from time 0"""

    @cached_property
    def flows(self) -> Flows:
        """Mean power over the curve; worked out when it is asked for, because many curves are cut before."""
        seconds = self.seconds
        weights = [(step.end_s - step.start_s) / seconds for step in self.steps]
        return weighted(weights, [step.mean_flows() for step in self.steps])

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.steps[-1].end_s

    @property
    def end(self) -> Rails:
        """The rails when it ends."""
        return self.steps[-1].end

    @property
    def mean_supply_a(self) -> float:
        """Mean current of the supply."""
        return sum(step.supply_sums(step.start_s, step.end_s)[1] for step in self.steps) / self.seconds

    def supply_a(self, times_s: Samples) -> Samples:
        """Current of the supply at many times of the curve, in their order."""
        ends = np.searchsorted(times_s, [step.end_s for step in self.steps[:-1]], side="right").tolist()
        parts = zip(self.steps, (0, *ends), (*ends, len(times_s)), strict=True)
        return np.concatenate([step.terminals(times_s[first:last])[1] for step, first, last in parts if last > first])

    def departs_s(self, seen: Seen) -> float | None:
        """When what is seen at the terminals first differs from the start; None if it does not."""
        for step in self.steps:
            departed_s = step.departs_s(seen)
            if departed_s is not None:
                return departed_s
        return None

    def until(self, seconds: float) -> RailCurve:
        """The same curve, but it ends sooner."""
        begun = [step for step in self.steps if step.start_s < seconds]
        return RailCurve((*begun[:-1], begun[-1].until(seconds)))


@lru_cache(maxsize=16)  # where one step ends the next begins; circuits are told apart by identity
def _flows(circuit: Circuit, rail_v: float) -> Flows:
    return circuit.flows(rail_v)


def step_rail(circuit: Circuit, rail_v: float, start_s: float, latest_s: float) -> RailStep:
    """The longest step from `start_s` that keeps the tolerance, to `latest_s` at the latest."""
    here = circuit.at(rail_v)
    slope, decay = here.slope_v_per_s, here.decay_per_s
    seconds, end_s = latest_s - start_s, latest_s
    shortened = 0.0
    if decay > 0:
        # A forecast that runs away does not help for a short step: half the rail at first, then bounded steps.
        seconds, shortened = min(seconds, _seconds_to(rail_v / 2, slope, decay)), 0.1
        end_s = start_s + seconds
    while True:
        grown = growth(decay, seconds)
        if abs(slope * grown) < AT_REST_V:
            return RailStep(start_s, end_s, rail_v, slope, decay, circuit)
        # The step must not miss that a diode starts to block: the forecast is checked at the end and half way.
        miss = max([_miss(circuit, rail_v, slope, decay, seconds * part) for part in (0.5, 1.0)])
        error_v = miss * grown
        if error_v <= TOLERANCE_V or seconds < 1e-9:
            return RailStep(start_s, end_s, rail_v, slope, decay, circuit)
        # The error grows with the square of the step at least.
        seconds *= min(max(0.8 * math.sqrt(TOLERANCE_V / error_v), shortened), 0.5)
        end_s = start_s + seconds


def _seconds_to(move_v: float, slope: float, decay: float) -> float:
    """Time until the linear forecast has moved by this much (at least a millivolt), where it runs away."""
    return math.log1p(decay * max(move_v, 1e-3) / abs(slope)) / decay if slope else 1 / decay


def _miss(circuit: Circuit, rail_v: float, slope: float, decay: float, seconds: float) -> float:
    """The error of the linear forecast of the slope after `seconds`."""
    moved = slope * growth(decay, seconds)
    return abs(circuit.at(rail_v + moved).slope_v_per_s - (slope + decay * moved))


def growth(decay_per_s: float, seconds: float) -> float:
    """(exp(decay·t) - 1)/decay, which is t for no decay."""
    if decay_per_s == 0:
        return seconds
    return math.expm1(decay_per_s * seconds) / decay_per_s


def weighted(weights: Sequence[float], flows: Sequence[Flows]) -> Flows:
    """The sum of flows, each times its weight."""
    if len(flows) == 1:
        return flows[0]
    mixed = [_mix(weights, items) for items in zip(*(flow[:-1] for flow in flows), strict=True)]
    loads = tuple(_mix(weights, items) for items in zip(*(flow.loads for flow in flows), strict=True))
    return Flows._make([*mixed, loads])


def _mix(weights: Sequence[float], values: Sequence[float]) -> float:
    return float(sum(map(mul, weights, values)))
