"""The supply, its lead and the converter that charges the reservoir.

The converter is an ideal transformer of ratio n behind a diode: its open-circuit rail is E = n·U (U the voltage at the
amplifier's terminals), its source resistance R, and it takes n·i/η for a charging current i. Small stages take a
constant current besides. Everything is linear in the rail voltage inside each of three regimes (supply at constant
voltage, supply at constant current, diode blocking), so every solution is closed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple


class Source(NamedTuple):
    """A supply output and its lead: an ideal voltage up to a current limit, then a constant current."""

    voltage_v: float
    limit_a: float
    lead_ohm: float


OFF = Source(voltage_v=0.0, limit_a=0.0, lead_ohm=0.0)


class Draw(NamedTuple):
    """What flows at one rail voltage."""

    terminal_v: float
    """at the amplifier's terminals"""
    supply_a: float
    charge_a: float
    """into the reservoir"""
    charge_slope: float
    """d(charge_a)/d(rail), A/V"""


@dataclass(frozen=True, slots=True)
class Converter:
    """`ratio` 0 means: switched off. `small_stages_a` flows whenever the supply gives it."""

    ratio: float
    stiffness_ohm: float
    efficiency: float
    small_stages_a: float

    def open_rail_v(self, terminal_v: float) -> float:
        """The rail without load at a terminal voltage."""
        return self.ratio * terminal_v

    def draw(self, source: Source, rail_v: float) -> Draw:
        """The operating point at `rail_v`."""
        at_voltage = self._at_constant_voltage(source, rail_v)
        if at_voltage.supply_a <= source.limit_a:
            return at_voltage
        return self._at_constant_current(source, rail_v)

    def _at_constant_voltage(self, source: Source, rail_v: float) -> Draw:
        if self.ratio > 0:
            # U = Us - Rl·(n·i/η + I0) and i = (n·U - V)/R, solved for U.
            reflected = source.lead_ohm * self.ratio / (self.stiffness_ohm * self.efficiency)
            terminal_v = (source.voltage_v + reflected * rail_v - source.lead_ohm * self.small_stages_a) / (
                1 + reflected * self.ratio
            )
            charge_a = (self.ratio * terminal_v - rail_v) / self.stiffness_ohm
            if charge_a >= 0:
                slope = (self.ratio * reflected / (1 + reflected * self.ratio) - 1) / self.stiffness_ohm
                supply_a = self.ratio * charge_a / self.efficiency + self.small_stages_a
                return Draw(terminal_v, supply_a, charge_a, slope)
        return Draw(source.voltage_v - source.lead_ohm * self.small_stages_a, self.small_stages_a, 0.0, 0.0)

    def _at_constant_current(self, source: Source, rail_v: float) -> Draw:
        left_a = source.limit_a - self.small_stages_a
        if left_a <= 0 or self.ratio == 0:
            # Not even the small stages get what they want: their voltage collapses.
            return Draw(0.0, source.limit_a, 0.0, 0.0)
        charge_a = left_a * self.efficiency / self.ratio
        terminal_v = (rail_v + self.stiffness_ohm * charge_a) / self.ratio
        return Draw(terminal_v, source.limit_a, charge_a, 0.0)
