"""The capacitor across the amplifier's supply terminals: charged when the supply comes on, it smooths the draw.

With the source Vs behind R (leads and supply), the capacitor C behind its series resistance r, and the draw i of what
lies behind the terminals::

    (R + r)·C·du/dt = Vs - R·i - u,    current of the supply = (Vs - u + r·i)/(R + r)

It is linear, and solved exactly between instants over which Vs and i are straight lines. Where the supply limits its
current, the capacitor gets what is left of it. The rails are followed as if it were not there: its part of the voltage
at the terminals is R times the ripple that it takes off the current, some hundredths of a volt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchctl.documents.amplifier_file.power_side import InputCapacitor
from benchctl.simulator.amplifier.converter import OFF, Source
from benchctl.simulator.amplifier.rails.means import RailCurve

Samples = NDArray[np.float64]

LEAST_OHM = 1e-4
"""Contacts have this much, so that no time constant is zero."""

SETTLED = 20.0
"""Time constants after which nothing is left of how it began: 2e-9."""

POINTS = 16.0
"""In a time constant, while it may still settle."""

IN_CYCLE = 128
"""Points of a cycle of the tone, as the rails are followed."""


class Terminals(NamedTuple):
    """At many instants."""

    terminal_v: Samples
    supply_a: Samples
    capacitor_v: Samples


@dataclass(frozen=True, slots=True)
class Charging:
    """The capacitor over one stretch of time: its voltage at the start, and how fast the supply's voltage moves."""

    capacitor: InputCapacitor
    start_v: float
    source_v_per_s: float

    def at(self, run: RailCurve, times_s: Samples) -> Terminals:
        """At many times of a curve of the rails, in their order; times beyond its ends count as its ends."""
        times_s = np.clip(times_s, 0.0, run.seconds)
        circuit = run.steps[0].circuit
        if circuit.source is OFF:
            nothing = np.zeros_like(times_s)
            return Terminals(nothing, nothing, nothing)
        grid_s = self._grid_s(run, circuit.source, circuit.frequency_hz, times_s)
        law = _Law.of(circuit.source, self.capacitor)
        drawn_a, source_v = run.supply_a(grid_s), self._source_v(circuit.source, grid_s)
        started_late = grid_s[0] > 0
        start_v = float(source_v[0] - law.path_ohm * drawn_a[0]) if started_late else self.start_v
        capacitor_v = np.interp(times_s, grid_s, law.followed(start_v, grid_s, source_v, drawn_a))
        now_a = run.supply_a(times_s)
        supply_a = law.supply_a(self._source_v(circuit.source, times_s), capacitor_v, now_a)
        return Terminals(capacitor_v + law.own_ohm * (supply_a - now_a), supply_a, capacitor_v)

    def end_v(self, run: RailCurve) -> float:
        """Its voltage when the stretch ends."""
        return float(self.at(run, np.asarray([run.seconds])).capacitor_v[0])

    def taken_as(self, run: RailCurve, from_s: float, to_s: float) -> float:
        """The charge that it takes between two times of the curve."""
        before_v, after_v = self.at(run, np.asarray([from_s, to_s])).capacitor_v
        return self.capacitor.capacitance_f * float(after_v - before_v)

    def start_a(self, source: Source, drawn_a: float) -> float:
        """The supply's current at the start, with a draw behind the terminals."""
        if source is OFF:
            return 0.0
        law = _Law.of(source, self.capacitor)
        now = (np.asarray([value]) for value in (source.voltage_v, self.start_v, drawn_a))
        return float(law.supply_a(*now)[0])

    def _source_v(self, source: Source, times_s: Samples) -> Samples:
        return source.voltage_v + self.source_v_per_s * times_s

    def _grid_s(self, run: RailCurve, source: Source, frequency_hz: float, times_s: Samples) -> Samples:
        """Fine over the time in which it settles, then as fine as the tone asks for. A long time before the first
        instant asked for is left out, unless the supply is in its limit and nothing settles."""
        tau_s = _Law.of(source, self.capacitor).time_constant_s
        limited_s = self.capacitor.capacitance_f * source.voltage_v / max(source.limit_a, 1e-9)
        first_s = times_s[0] - SETTLED * tau_s - limited_s
        first_s = first_s if first_s > 0 else 0.0
        pace_s = 1 / (IN_CYCLE * frequency_hz) if math.isfinite(frequency_hz) else run.seconds
        last_s = float(times_s[-1])
        settled_s = min(first_s + SETTLED * tau_s + limited_s, last_s)
        dense = np.arange(first_s, settled_s, tau_s / POINTS)
        return np.unique(np.concatenate([dense, np.arange(settled_s, last_s, pace_s), [last_s]]))


class _Law(NamedTuple):
    """How the capacitor follows source and draw."""

    path_ohm: float
    own_ohm: float
    farads: float
    limit_a: float

    @classmethod
    def of(cls, source: Source, capacitor: InputCapacitor) -> _Law:
        path_ohm = max(source.path_ohm, LEAST_OHM)
        return cls(path_ohm, capacitor.esr_ohm, capacitor.capacitance_f, source.limit_a)

    @property
    def time_constant_s(self) -> float:
        return (self.path_ohm + self.own_ohm) * self.farads

    def supply_a(self, source_v: Samples, capacitor_v: Samples, drawn_a: Samples) -> Samples:
        """Current of the supply."""
        free_a = (source_v - capacitor_v + self.own_ohm * drawn_a) / (self.path_ohm + self.own_ohm)
        return np.minimum(free_a, self.limit_a)

    def followed(self, start_v: float, times_s: Samples, source_v: Samples, drawn_a: Samples) -> Samples:
        """The capacitor's voltage at each instant."""
        steps_s = np.diff(times_s)
        aims_v = source_v - self.path_ohm * drawn_a
        decays = np.exp(-steps_s / self.time_constant_s)
        lags_v = np.diff(aims_v) / np.where(steps_s > 0, steps_s, 1.0) * self.time_constant_s
        left_v = (self.limit_a - (drawn_a[1:] + drawn_a[:-1]) / 2) * steps_s / self.farads
        most_v = source_v + self.own_ohm * drawn_a - self.limit_a * (self.path_ohm + self.own_ohm)
        voltages = [start_v]
        for number in range(len(steps_s)):
            now_v = voltages[-1]
            if now_v < most_v[number]:  # the supply is in its limit
                voltages.append(now_v + float(left_v[number]))
            else:
                away_v = now_v - aims_v[number] + lags_v[number]
                voltages.append(float(aims_v[number + 1] - lags_v[number] + away_v * decays[number]))
        return np.asarray(voltages)
