"""The whole circuit at one instant: supply, converter, reservoir, output stages, loads.

A `Circuit` is frozen: between two events (a new drive level, a relay, a setting) only the rail moves, and what
moves evenly beside it: the ratio of a converter that starts softly, the voltage of a supply on its way to a setting.
`at` gives every current at a rail voltage, averaged over a cycle of the signal. `flows` lists the power items, each
from its own formula, so that the balances can be checked against each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

from benchctl.simulator.amplifier.converter import Converter, ConverterDraw, Source
from benchctl.simulator.amplifier.output_stage import OutputStage


class Sides(NamedTuple):
    """What each rail has of what it should have, the plus rail first."""

    capacitance: tuple[float, float] = (1.0, 1.0)
    voltage: tuple[float, float] = (1.0, 1.0)


EVEN = Sides()


class Flows(NamedTuple):
    """Power in W, each item from its own formula; the supply gives their sum minus what the reservoir loses."""

    supply: float
    lead: float
    small_stages: float
    conversion: float
    stiffness: float
    esr: float
    stages: float
    output_resistance: float
    bleeder: float
    loads: tuple[float, ...]

    @property
    def heatsink(self) -> float:
        """The power that warms the amplifier."""
        inside = self.small_stages + self.conversion + self.stiffness + self.esr
        return inside + self.stages + self.output_resistance + self.bleeder


class Operating(NamedTuple):
    """The circuit at one rail voltage."""

    draw: ConverterDraw
    slope_v_per_s: float
    """of the rail"""
    decay_per_s: float
    """d(slope)/d(rail); positive where a class D stage draws more from a lower rail"""


class Outputs(NamedTuple):
    """What the amplifier's protection sees of its outputs: the highest of each."""

    peak_a: float
    dc_v: float
    """mean voltage, either way"""


@dataclass(frozen=True, slots=True, eq=False)
class Circuit:
    """Everything except the rail voltage. Two circuits are never equal: runs are remembered by identity."""

    source: Source
    converter: Converter
    stages: tuple[OutputStage, ...]
    reservoir_f: float
    saturation_v: float
    bias_a: float
    """of all stages together, from rail to rail"""
    bias_knee_v: float
    """below this rail the bias current falls in proportion"""
    bleeder_ohm: float
    esr_ohm: float = 0.0
    """of the reservoir; where only means are followed it carries no ripple and does not count"""
    sides: Sides = EVEN
    supply_leaks: float = 0.0
    """part of the supply's whine that reaches every output"""
    frequency_hz: float = math.inf
    """of the tone; infinite: its ripple is left out"""

    @property
    def rails_apart(self) -> bool:
        """Whether the rails differ, or a stage loads one in one half of the cycle and the other in the other half."""
        return self.sides != EVEN or any(stage.one_sided for stage in self.stages)

    @property
    def pumps(self) -> bool:
        """Whether a stage returns energy to the rails: no source resistance bounds what that makes of them."""
        return any(stage.pumps for stage in self.stages)

    @property
    def time_constant_s(self) -> float:
        """Of the rails."""
        return self.converter.stiffness_ohm * self.reservoir_f

    @property
    def ripple_v(self) -> float:
        """No sound rail swings by more than this within a cycle: its charge, or its source resistance, sets a bound.

        A half wave of peak I carries I/(πf); one rail of two has half the capacitance and twice the resistance.
        """
        swing_ohm = 1 / (math.pi * self.frequency_hz * self.reservoir_f)
        return self._swing_v(swing_ohm if self.pumps else min(swing_ohm, self.converter.stiffness_ohm))

    @property
    def esr_v(self) -> float:
        """What the series resistance of the reservoir adds to it at most."""
        return self._swing_v(self.esr_ohm)

    @property
    def drop_v(self) -> float:
        """What the tone's current drops in the source resistance at its peak."""
        return self._swing_v(self.converter.stiffness_ohm)

    def _swing_v(self, ohm: float) -> float:
        peak_a = sum(stage.halves * stage.peak_v * stage.path_s for stage in self.stages)
        return (2.0 if self.rails_apart else 1.0) * peak_a * ohm

    def limit_v(self, rail_v: float) -> float:
        """Headroom of a stage's half, at which a linear stage clips."""
        return max(rail_v - self.saturation_v, 0.0)

    @property
    def moves(self) -> bool:
        """Whether its converter starts softly, or its source is on its way to another voltage."""
        return self.converter.ratio_per_s > 0 or self.source.v_per_s != 0

    def after(self, seconds: float) -> Circuit:
        """The circuit so long after its instant."""
        return replace(self, source=self.source.after(seconds), converter=self.converter.after(seconds))

    def draw(self, rail_v: float, since_s: float = 0.0) -> ConverterDraw:
        """What the converter takes at `rail_v`, some time after the instant of this circuit."""
        return self.converter.after(since_s).draw(self.source.after(since_s), rail_v)

    def at(self, rail_v: float, since_s: float = 0.0) -> Operating:
        """The cycle-averaged operating point at `rail_v`, some time after the instant of this circuit."""
        draw = self.draw(rail_v, since_s)
        limit_v = self.limit_v(rail_v)
        bias_a, bias_slope = self._bias(rail_v)
        load_a = bias_a + rail_v / self.bleeder_ohm
        load_slope = bias_slope + 1 / self.bleeder_ohm
        for stage in self.stages:
            stage_a, stage_slope = stage.takes(rail_v, limit_v)
            load_a += stage_a
            load_slope += stage_slope
        slope = (draw.charge_a - load_a) / self.reservoir_f
        return Operating(draw, slope, (draw.charge_slope - load_slope) / self.reservoir_f)

    def bias_of_one_a(self, rail_v: float) -> float:
        """The bias current through the devices of one stage, from rail to rail."""
        return self._bias(rail_v)[0] / 2 / len(self.stages)

    def _bias(self, rail_v: float) -> tuple[float, float]:
        """What the bias takes from the lumped rails (once from either), and its slope."""
        if rail_v >= self.bias_knee_v:
            return 2 * self.bias_a, 0.0
        return 2 * self.bias_a * rail_v / self.bias_knee_v, 2 * self.bias_a / self.bias_knee_v

    def outputs(self, rail_v: float) -> Outputs:
        """The highest peak current and the highest dc of an output at `rail_v`."""
        headroom_v = self.limit_v(rail_v)
        return Outputs(
            max([stage.peak_a(headroom_v) for stage in self.stages]),
            max([abs(stage.dc_v(headroom_v)) for stage in self.stages]),
        )

    def supply_v(self, draw: ConverterDraw) -> float:
        """As the supply measures it: at its own terminals before the lead, or where it senses."""
        return draw.terminal_v if self.source.sensed else self._output_v(draw)

    def _output_v(self, draw: ConverterDraw) -> float:
        return draw.terminal_v + draw.supply_a * self.source.lead_ohm

    def flows(self, rail_v: float, since_s: float = 0.0) -> Flows:
        """Where the power goes at `rail_v`, some time after the instant of this circuit."""
        converter = self.converter.after(since_s)
        draw = converter.draw(self.source.after(since_s), rail_v)
        limit_v = self.limit_v(rail_v)
        stages = [stage.flows(rail_v, limit_v) for stage in self.stages]
        small_a = min(converter.small_stages_a, draw.supply_a)
        open_w = converter.open_rail_v(draw.terminal_v) * draw.charge_a
        return Flows(
            supply=self._output_v(draw) * draw.supply_a,
            lead=self.source.lead_ohm * draw.supply_a**2,
            small_stages=draw.terminal_v * small_a,
            conversion=open_w * (1 / converter.efficiency - 1),
            stiffness=converter.stiffness_ohm * draw.charge_a**2,
            esr=0.0,
            stages=rail_v * self._bias(rail_v)[0] + sum(stage.stage_w for stage in stages),
            output_resistance=sum(stage.output_w for stage in stages),
            bleeder=rail_v**2 / self.bleeder_ohm,
            loads=tuple(stage.load_w for stage in stages),
        )
