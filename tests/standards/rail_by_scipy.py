"""A class AB amplifier on two rails, integrated in time by scipy: shares no code with the simulator.

Each rail has a source resistance and a reservoir of its own, twice and half of what both have as one. In each half of
a cycle the current of all channels comes from one of them. Ohm's and Kirchhoff's laws, nothing else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

Samples = NDArray[np.float64]


@dataclass(frozen=True)
class SplitSupplyAmplifier:
    """Both rails as one are stated by `stiffness_ohm` and `reservoir_f`."""

    gain: float
    open_rail_v: float
    stiffness_ohm: float
    reservoir_f: float
    saturation_v: float
    output_ohm: float
    loads_ohm: tuple[float, ...]
    bias_a: float = 0.0
    """of all channels"""
    bleeder_ohm: float = 1e12
    supply_v: float = 14.4
    lead_ohm: float = 0.0
    efficiency: float = 1.0
    small_stages_a: float = 0.0

    def terminal_v(self, rails_v: Samples) -> Samples:
        """Us - Rl·(n·(i1 + i2)/eta + I0), with i = (n·U - V)/2R, both diodes conducting."""
        ratio = self.open_rail_v / self.supply_v
        a = self.lead_ohm * ratio / self.efficiency / (2 * self.stiffness_ohm)
        base_v = self.supply_v - self.lead_ohm * self.small_stages_a
        return np.asarray((base_v + a * (rails_v[0] + rails_v[1])) / (1 + 2 * a * ratio))

    def output_v(self, time_s: Samples | float, rails_v: Samples, amplitude_v: float, frequency_hz: float) -> Samples:
        """Inside the output resistance: a sine, cut at the rail that it comes from less the saturation."""
        asked = amplitude_v * np.sin(2 * math.pi * frequency_hz * np.asarray(time_s))
        return np.asarray(np.clip(asked, -(rails_v[1] - self.saturation_v), rails_v[0] - self.saturation_v))

    def settled(self, level_v: float, frequency_hz: float, points: int = 1024) -> tuple[Samples, Samples, Samples]:
        """One cycle after 15 time constants: times, both rails, output of a channel before its resistance."""
        amplitude_v = self.gain * math.sqrt(2) * level_v
        conductance = sum(1 / (ohm + self.output_ohm) for ohm in self.loads_ohm)
        rail_f, source_ohm = self.reservoir_f / 2, 2 * self.stiffness_ohm

        def change(time_s: float, rails_v: Samples) -> list[float]:
            drawn_a = float(self.output_v(time_s, rails_v, amplitude_v, frequency_hz)) * conductance
            open_v = float(self.terminal_v(rails_v)) * self.open_rail_v / self.supply_v
            loads_a = (max(drawn_a, 0.0), max(-drawn_a, 0.0))
            return [
                ((open_v - v) / source_ohm - a - self.bias_a - v / (2 * self.bleeder_ohm)) / rail_f
                for v, a in zip(rails_v.tolist(), loads_a, strict=True)
            ]

        cycles = math.ceil(15 * self.stiffness_ohm * self.reservoir_f * frequency_hz)
        start_s, end_s = cycles / frequency_hz, (cycles + 1) / frequency_hz
        times_s = np.linspace(start_s, end_s, points, endpoint=False)
        found = solve_ivp(
            change, (0.0, end_s), [self.open_rail_v] * 2, t_eval=times_s, max_step=0.01 / frequency_hz, rtol=1e-6
        )
        return times_s, found.y, self.output_v(times_s, found.y, amplitude_v, frequency_hz)

    def supply_current_a(self, rails_v: Samples) -> Samples:
        """n·(i1 + i2)/eta + I0."""
        ratio = self.open_rail_v / self.supply_v
        charge_a = (2 * ratio * self.terminal_v(rails_v) - rails_v[0] - rails_v[1]) / (2 * self.stiffness_ohm)
        return np.asarray(ratio * charge_a / self.efficiency + self.small_stages_a)

    def power_w(self, output_v: Samples, channel: int = 0) -> float:
        """In the load of a channel."""
        ohm = self.loads_ohm[channel]
        return float(np.mean((output_v * ohm / (ohm + self.output_ohm)) ** 2)) / ohm


def thd(cycle_v: Samples) -> float:
    """Everything but dc and the fundamental, over the fundamental, of one whole cycle."""
    lines = np.abs(np.fft.rfft(cycle_v))
    return float(np.sqrt(np.sum(lines[2:] ** 2)) / lines[1])


HX2150 = SplitSupplyAmplifier(
    gain=31.9,
    open_rail_v=41.0,
    stiffness_ohm=0.36,
    reservoir_f=0.03,
    saturation_v=1.6,
    output_ohm=0.02,
    loads_ohm=(4.013, 3.991),
    bias_a=0.22,
    bleeder_ohm=2200.0,
    lead_ohm=0.0015,
    efficiency=0.92,
    small_stages_a=4.0 / 14.4,
)


@dataclass(frozen=True)
class BridgedSwitchingAmplifier:
    """A class D bridge of two halves on one pair of rails, as one: what it takes is its power over the rail voltage."""

    gain: float
    open_rail_v: float
    stiffness_ohm: float
    reservoir_f: float
    saturation_v: float
    output_ohm: float
    conduction_ohm: float
    switching_w: float
    knee: float
    load_ohm: float
    bleeder_ohm: float
    supply_v: float
    lead_ohm: float
    efficiency: float
    small_stages_a: float

    @property
    def current_per_v(self) -> float:
        """Amperes in the load for a volt that both halves together make inside."""
        return 1 / (self.load_ohm + self.output_ohm)

    def inside_v(
        self, time_s: Samples | float, rail_v: Samples | float, amplitude_v: float, frequency_hz: float
    ) -> Samples:
        """Both halves in series: a sine, bent by a tanh over the last part below what the rail and its drops allow."""
        asked = amplitude_v * np.sin(2 * math.pi * frequency_hz * np.asarray(time_s))
        limit = 2 * (np.asarray(rail_v) - self.saturation_v) / (1 + self.conduction_ohm * self.current_per_v)
        onset, room = (1 - self.knee) * limit, self.knee * limit
        over = np.maximum(np.abs(asked) - onset, 0.0)
        return np.asarray(np.sign(asked) * (np.minimum(np.abs(asked), onset) + room * np.tanh(over / room)))

    def settled(self, level_v: float, frequency_hz: float, points: int = 1024) -> tuple[Samples, Samples]:
        """One cycle after 15 time constants: the rail, and the voltage at the load."""
        amplitude_v, ratio = self.gain * math.sqrt(2) * level_v, self.open_rail_v / self.supply_v
        lossy_ohm = self.load_ohm + self.output_ohm + self.conduction_ohm

        def change(time_s: float, rails_v: Samples) -> list[float]:
            rail_v = float(rails_v[0])
            load_a = float(self.inside_v(time_s, rail_v, amplitude_v, frequency_hz)) * self.current_per_v
            reflected = self.lead_ohm * ratio / self.efficiency / self.stiffness_ohm
            base_v = self.supply_v - self.lead_ohm * self.small_stages_a
            terminal_v = (base_v + reflected * rail_v) / (1 + reflected * ratio)
            charge_a = max(ratio * terminal_v - rail_v, 0.0) / self.stiffness_ohm
            taken_w = load_a**2 * lossy_ohm + self.switching_w * (rail_v / self.open_rail_v) ** 2
            return [(charge_a - taken_w / rail_v - rail_v / self.bleeder_ohm) / self.reservoir_f]

        cycles = math.ceil(15 * self.stiffness_ohm * self.reservoir_f * frequency_hz)
        times_s = np.linspace(cycles / frequency_hz, (cycles + 1) / frequency_hz, points, endpoint=False)
        found = solve_ivp(
            change,
            (0.0, (cycles + 1) / frequency_hz),
            [self.open_rail_v],
            t_eval=times_s,
            max_step=0.01 / frequency_hz,
            rtol=1e-6,
        )
        inside_v = self.inside_v(times_s, found.y[0], amplitude_v, frequency_hz)
        return found.y[0], inside_v * self.current_per_v * self.load_ohm


LW1200 = BridgedSwitchingAmplifier(
    gain=50.3,
    open_rail_v=31.8,
    stiffness_ohm=0.06,
    reservoir_f=0.1,
    saturation_v=1.2,
    output_ohm=0.008,
    conduction_ohm=0.028,
    switching_w=20.0,
    knee=0.04,
    load_ohm=1.0,
    bleeder_ohm=2200.0,
    supply_v=14.4,
    lead_ohm=0.0015,
    efficiency=0.93,
    small_stages_a=4.0 / 14.4,
)
