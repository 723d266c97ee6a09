"""The supply, its lead and the converter that charges the reservoir.

The converter is an ideal transformer behind a diode: its open-circuit rail is E, its source resistance R, and for a
charging current i it takes E·i/(η·U) at the amplifier's terminals, U. Unregulated its ratio n is fixed and E = n·U.
Regulated it holds E as long as its highest ratio n allows, so it draws more when its terminals fall; below that it
behaves as an unregulated one. Small stages take a constant current as well. Each regime (regulated or not, supply at
constant voltage or constant current, diode blocking) has a closed solution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple


class Whine(NamedTuple):
    """A tone on a supply's output."""

    amplitude_v: float
    frequency_hz: float


class Source(NamedTuple):
    """A supply output and its lead: a voltage behind resistances up to a current limit, then a constant current."""

    voltage_v: float
    limit_a: float
    lead_ohm: float
    inner_ohm: float = 0.0
    """of the supply itself"""
    sensed: bool = False
    """it holds its voltage at the amplifier's terminals, so that the lead drops nothing of it"""
    whine: Whine | None = None
    v_per_s: float = 0.0
    """how fast its voltage moves to another setting"""

    def after(self, seconds: float) -> Source:
        """What it is so long from now, if it goes on moving."""
        if not self.v_per_s or not seconds:
            return self
        voltage_v = max(self.voltage_v + self.v_per_s * seconds, 0.0)
        # Asked some times in each step of a power-on: `_replace` would take three times as long.
        return Source(voltage_v, self.limit_a, self.lead_ohm, self.inner_ohm, self.sensed, self.whine, self.v_per_s)

    @property
    def path_ohm(self) -> float:
        """What the current lowers the voltage at the amplifier's terminals by, for each ampere."""
        return self.inner_ohm + (0.0 if self.sensed else self.lead_ohm)


OFF = Source(voltage_v=0.0, limit_a=0.0, lead_ohm=0.0)


class ConverterDraw(NamedTuple):
    """The currents and voltages at one rail voltage."""

    terminal_v: float
    """at the amplifier's terminals"""
    supply_a: float
    charge_a: float
    """into the reservoir"""
    charge_slope: float
    """d(charge_a)/d(rail), A/V"""


@dataclass(frozen=True, slots=True)
class Converter:
    """`ratio` (the highest, where it regulates) 0 means switched off. `small_stages_a` flows whenever the supply can
    give it. `regulated_v` is the rail that is held, infinite for an unregulated converter."""

    ratio: float
    stiffness_ohm: float
    efficiency: float
    small_stages_a: float
    regulated_v: float = math.inf
    ratio_per_s: float = 0.0
    """how fast the ratio rises while it starts softly"""
    regulated_v_per_s: float = 0.0
    """how fast the rail that is held rises then"""

    def after(self, seconds: float) -> Converter:
        """What it is so long from now, if it goes on starting."""
        if not self.ratio_per_s or not seconds:
            return self
        return Converter(
            self.ratio + self.ratio_per_s * seconds,
            self.stiffness_ohm,
            self.efficiency,
            self.small_stages_a,
            self.regulated_v + self.regulated_v_per_s * seconds,
            self.ratio_per_s,
            self.regulated_v_per_s,
        )

    def open_rail_v(self, terminal_v: float) -> float:
        """The rail without load at a terminal voltage."""
        return min(self.ratio * terminal_v, self.regulated_v)

    def draw(self, source: Source, rail_v: float) -> ConverterDraw:
        """The operating point at `rail_v`."""
        at_voltage = self._at_constant_voltage(source, rail_v)
        if at_voltage.supply_a <= source.limit_a:
            return at_voltage
        return self._at_constant_current(source, rail_v)

    def _at_constant_voltage(self, source: Source, rail_v: float) -> ConverterDraw:
        if self.ratio > 0:
            held = self._regulated(source, rail_v) if self.regulated_v < math.inf else None
            draw = held or self._unregulated(source, rail_v)
            if draw.charge_a >= 0:
                return draw
        return ConverterDraw(source.voltage_v - source.path_ohm * self.small_stages_a, self.small_stages_a, 0.0, 0.0)

    def _regulated(self, source: Source, rail_v: float) -> ConverterDraw | None:
        """The solution with E held; None if the highest ratio cannot hold it.

        U = Us' - Rl·E·i/(η·U), with Us' = Us - Rl·I0, is quadratic in U; the upper root is the one that works.
        """
        charge_a = (self.regulated_v - rail_v) / self.stiffness_ohm
        unloaded_v = source.voltage_v - source.path_ohm * self.small_stages_a
        taken_w = self.regulated_v * max(charge_a, 0.0) / self.efficiency
        root = unloaded_v**2 - 4 * source.path_ohm * taken_w
        terminal_v = (unloaded_v + math.sqrt(root)) / 2 if root >= 0 else 0.0
        if terminal_v <= 0 or self.ratio * terminal_v < self.regulated_v:
            return None
        return ConverterDraw(terminal_v, taken_w / terminal_v + self.small_stages_a, charge_a, -1 / self.stiffness_ohm)

    def _unregulated(self, source: Source, rail_v: float) -> ConverterDraw:
        """U = Us - Rl·(n·i/η + I0) and i = (n·U - V)/R, solved for U."""
        path_ohm = source.path_ohm
        reflected = path_ohm * self.ratio / (self.stiffness_ohm * self.efficiency)
        terminal_v = (source.voltage_v + reflected * rail_v - path_ohm * self.small_stages_a) / (
            1 + reflected * self.ratio
        )
        charge_a = (self.ratio * terminal_v - rail_v) / self.stiffness_ohm
        slope = (self.ratio * reflected / (1 + reflected * self.ratio) - 1) / self.stiffness_ohm
        return ConverterDraw(terminal_v, self.ratio * charge_a / self.efficiency + self.small_stages_a, charge_a, slope)

    def _at_constant_current(self, source: Source, rail_v: float) -> ConverterDraw:
        left_a = source.limit_a - self.small_stages_a
        if left_a <= 0 or self.ratio == 0:
            # The supply cannot feed even the small stages: their voltage collapses.
            return ConverterDraw(0.0, source.limit_a, 0.0, 0.0)
        # A converter that regulates takes more when its terminals fall, so it ends at its highest ratio.
        charge_a = left_a * self.efficiency / self.ratio
        terminal_v = (rail_v + self.stiffness_ohm * charge_a) / self.ratio
        return ConverterDraw(terminal_v, source.limit_a, charge_a, 0.0)
