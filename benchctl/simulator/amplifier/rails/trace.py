"""The rails inside a cycle as they were found: a window of time once, or one cycle that repeats."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.circuit import Circuit, Flows
from benchctl.simulator.amplifier.rails import solution
from benchctl.simulator.amplifier.rails.means import Seen
from benchctl.simulator.amplifier.rails.network import Network
from benchctl.simulator.amplifier.rails.voltages import Rails

Samples = NDArray[np.float64]

FLOWS = len(Flows._fields) - 1
"""Powers of a circuit, without those in the loads."""


@dataclass(frozen=True, slots=True)
class Trace:
    """At even steps of time from 0 on; the first two have a row for each rail that is followed.

    Attributes:
        reservoirs_v: of the capacitors themselves.
        rails_v: at the stages, behind the series resistance of the reservoirs.
        sums: running sums, in J, of each power of `Flows`, then of the volts and of the amperes at the supply's
            terminals, in V·s and A·s.
    """

    step_s: float
    reservoirs_v: Samples
    rails_v: Samples
    terminal_v: Samples
    supply_a: Samples
    sums: Samples

    @property
    def seconds(self) -> float:
        """How long it is."""
        return self.step_s * (len(self.terminal_v) - 1)

    def looks_the_same(self, seen: Seen) -> bool:
        """Whether nothing that is seen at the terminals ever differs; between its points all is straight."""
        highest_v = np.maximum(self.reservoirs_v[0], self.reservoirs_v[-1])
        states = np.asarray(seen(self.terminal_v, self.supply_a, highest_v))
        return bool((states == states[0]).all())

    def at(self, row: Samples, places_s: Samples) -> Samples:
        """Between its points, straight."""
        return np.asarray(np.interp(places_s / self.step_s, np.arange(len(row)), row), dtype=np.float64)

    def reservoirs_at(self, place_s: float) -> Rails:
        """Both reservoirs at an instant."""
        values = _straight(self.reservoirs_v, place_s / self.step_s)
        return Rails(float(values[0]), float(values[-1]))

    def sums_at(self, place_s: float) -> Samples:
        """The running sums at an instant."""
        return _straight(self.sums, place_s / self.step_s)


def _straight(rows: Samples, place: float) -> Samples:
    number = min(max(int(place), 0), rows.shape[1] - 2)
    before: Samples = rows[:, number]
    return np.asarray(before + (place - number) * (rows[:, number + 1] - before), dtype=np.float64)


def window(circuit: Circuit, rails: Rails, phase: float, seconds: float, points: int) -> Trace:
    """From `rails` on, at a phase of the tone in cycles.

    Raises:
        Unsolved: the window is too long for this circuit.
    """
    start_v = np.asarray(rails) if circuit.rails_apart else np.asarray([rails.mean_v])
    times_s = np.linspace(0.0, seconds, points)
    return _traced(circuit, rails, phase, times_s, start_v)


def steady(circuit: Circuit, near: Rails | Samples, points: int) -> Trace:
    """One cycle of the tone that ends as it began, from phase 0; `near` to rails or to the rails of another cycle.

    Raises:
        Unsolved: it was not found.
    """
    return _traced(circuit, near, 0.0, np.linspace(0.0, 1 / circuit.frequency_hz, points), None)


def _traced(circuit: Circuit, near: Rails | Samples, phase: float, times_s: Samples, start_v: Samples | None) -> Trace:
    frequency_hz = circuit.frequency_hz if math.isfinite(circuit.frequency_hz) else 0.0
    network = Network(circuit, phase + frequency_hz * times_s)
    guess_v = _guess_v(near, 2 if circuit.rails_apart else 1, len(times_s))
    if start_v is None:
        guess_v = network.charged(guess_v)
    reservoirs_v = solution.course(network.slopes, times_s, guess_v, start_v)
    now = network.at(reservoirs_v)
    rows = np.array(network.powers(now))
    sums = np.zeros_like(rows)
    np.cumsum((rows[:, 1:] + rows[:, :-1]) * (times_s[1] / 2), axis=1, out=sums[:, 1:])
    charging = now.charging
    return Trace(float(times_s[1]), reservoirs_v, now.rails_v, charging.terminal_v, charging.supply_a, sums)


def _guess_v(near: Rails | Samples, rails: int, points: int) -> Samples:
    if isinstance(near, Rails):
        first_v = np.asarray(near) if rails == 2 else np.asarray([near.mean_v])
        return np.repeat(first_v[:, None], points, axis=1)
    return near


@dataclass(frozen=True, slots=True)
class TracedStep:
    """A stretch of a run that follows a trace: once from `place_s` on, or over and over."""

    start_s: float
    end_s: float
    trace: Trace
    place_s: float
    """where in the trace it starts"""
    repeats: bool
    circuit: Circuit

    @property
    def end(self) -> Rails:
        """The reservoirs when it ends."""
        return self.trace.reservoirs_at(self._turn(self.end_s)[1])

    def rails_v(self, times_s: Samples) -> Samples:
        """Each rail that is followed in a row, at many times of the run, all of them inside the step."""
        places_s = self._places(times_s)
        return np.array([self.trace.at(row, places_s) for row in self.trace.rails_v])

    def terminals(self, times_s: Samples) -> tuple[Samples, Samples]:
        """Voltage at the amplifier's terminals, and current, at many times."""
        places_s = self._places(times_s)
        return self.trace.at(self.trace.terminal_v, places_s), self.trace.at(self.trace.supply_a, places_s)

    def supply_sums(self, from_s: float, to_s: float) -> tuple[float, float]:
        """Volts and amperes at the supply's own terminals, summed over a time inside the step, in V·s and A·s."""
        volt_seconds, ampere_seconds = self._summed(from_s, to_s)[-2:]
        return float(volt_seconds), float(ampere_seconds)

    def mean_flows(self) -> Flows:
        """Mean power over the step."""
        means = (self._summed(self.start_s, self.end_s) / (self.end_s - self.start_s)).tolist()
        return Flows._make([*means[:FLOWS], tuple(means[FLOWS:-2])])

    def departs_s(self, seen: Seen) -> float | None:
        """When what is seen at the terminals first differs from the start; None if it does not within the step."""
        if self.trace.looks_the_same(seen):
            return None
        reach_s = min(self.end_s - self.start_s, self.trace.seconds)
        times_s = self.start_s + np.minimum(
            np.arange(math.ceil(reach_s / self.trace.step_s) + 1) * self.trace.step_s, reach_s
        )
        places_s = self._places(times_s)
        higher_v = np.max([self.trace.at(row, places_s) for row in self.trace.reservoirs_v], axis=0)
        states = np.asarray(seen(*self.terminals(times_s), higher_v))
        others = np.flatnonzero(states != states[0])
        return float(times_s[others[0]]) if len(others) else None

    def until(self, end_s: float) -> TracedStep:
        """The same step, but it ends sooner."""
        return replace(self, end_s=end_s)

    def _summed(self, from_s: float, to_s: float) -> Samples:
        (before, start_s), (after, end_s) = self._turn(from_s), self._turn(to_s)
        turns = after - before
        return self.trace.sums_at(end_s) - self.trace.sums_at(start_s) + turns * self.trace.sums[:, -1]

    def _turn(self, time_s: float) -> tuple[int, float]:
        """Whole turns of the trace, and the place in it."""
        place_s = self.place_s + time_s - self.start_s
        if not self.repeats:
            return 0, place_s
        turns = math.floor(place_s / self.trace.seconds)
        return turns, place_s - turns * self.trace.seconds

    def _places(self, times_s: Samples) -> Samples:
        places_s = self.place_s + times_s - self.start_s
        return places_s % self.trace.seconds if self.repeats else places_s
