"""The whole circuit at one instant: supply, converter, reservoir, output stages, loads.

A `Circuit` is frozen: between two events (a new drive level, a relay, a setting) only the rail moves. `at` answers what
flows everywhere at a given rail voltage, averaged over a cycle of the signal; `flows` itemises the power, item by item
from its own formula, so that the books can be checked against each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from benchctl.simulator.clipping import SILENT, CycleMeans, clipped_sine
from benchctl.simulator.converter import Converter, Draw, Source


class Stage:
    """One output stage driven by a sine, and what hangs on its output.

    Args:
        amplitude_v: of the sine inside the stage, were it not clipped.
        offset_v: dc inside the stage.
        conductance_s: of the load; 0 with nothing connected.
        output_ohm: between the inside of the stage and its terminal.
        live: False while muted.
    """

    __slots__ = ("_unclipped", "amplitude_v", "live", "offset_v", "output_ohm", "path_s", "peak_v", "share")

    def __init__(
        self, amplitude_v: float, offset_v: float, conductance_s: float, output_ohm: float, *, live: bool = True
    ) -> None:
        self.amplitude_v = amplitude_v if live else 0.0
        self.offset_v = offset_v if live else 0.0
        self.live = live
        self.output_ohm = output_ohm
        self.share = 1 / (1 + output_ohm * conductance_s)
        """volts at the load for a volt inside the stage"""
        self.path_s = conductance_s * self.share
        """amperes in the output for a volt inside the stage"""
        self.peak_v = self.amplitude_v + abs(self.offset_v)
        self._unclipped = clipped_sine(self.amplitude_v, self.offset_v, self.peak_v) if live else SILENT

    def means(self, limit_v: float) -> CycleMeans:
        """Cycle means of the voltage inside the stage, clipped at `limit_v`."""
        # The unclipped case is by far the commonest; it was worked out once.
        return self._unclipped if self.peak_v <= limit_v else self._clipped(limit_v)

    def _clipped(self, limit_v: float) -> CycleMeans:
        return clipped_sine(self.amplitude_v, self.offset_v, limit_v)


class Flows(NamedTuple):
    """Power in W, each item from its own formula; the supply gives the sum less what the reservoir loses."""

    supply: float
    lead: float
    small_stages: float
    conversion: float
    stiffness: float
    stages: float
    output_resistance: float
    bleeder: float
    loads: tuple[float, ...]

    @property
    def heatsink(self) -> float:
        """What warms the amplifier."""
        inside = self.small_stages + self.conversion + self.stiffness
        return inside + self.stages + self.output_resistance + self.bleeder


class Operating(NamedTuple):
    """The circuit at one rail voltage."""

    draw: Draw
    slope_v_per_s: float
    """of the rail"""
    decay_per_s: float
    """d(slope)/d(rail), never positive: the rail always tends to rest"""


@dataclass(frozen=True, slots=True, eq=False)
class Circuit:
    """Everything but the rail voltage. Two circuits are never equal: identity is what runs are remembered by."""

    source: Source
    converter: Converter
    stages: tuple[Stage, ...]
    reservoir_f: float
    saturation_v: float
    bias_a: float
    """of all stages together, from rail to rail"""
    bias_knee_v: float
    """below this rail the bias circuit starves and its current falls in proportion"""
    bleeder_ohm: float

    def limit_v(self, rail_v: float) -> float:
        """Where the stages clip."""
        return max(rail_v - self.saturation_v, 0.0)

    def at(self, rail_v: float) -> Operating:
        """The cycle-averaged operating point at `rail_v`."""
        draw = self.converter.draw(self.source, rail_v)
        limit_v = self.limit_v(rail_v)
        bias_a, bias_slope = self._bias(rail_v)
        load_a = bias_a + rail_v / self.bleeder_ohm
        load_slope = bias_slope + 1 / self.bleeder_ohm
        for stage in self.stages:
            means = stage.means(limit_v)
            load_a += means.absolute_v * stage.path_s
            load_slope += means.clipped * stage.path_s
        slope = (draw.charge_a - load_a) / self.reservoir_f
        return Operating(draw, slope, (draw.charge_slope - load_slope) / self.reservoir_f)

    def _bias(self, rail_v: float) -> tuple[float, float]:
        """What the bias takes from the lumped rails (once from either), and its slope."""
        if rail_v >= self.bias_knee_v:
            return 2 * self.bias_a, 0.0
        return 2 * self.bias_a * rail_v / self.bias_knee_v, 2 * self.bias_a / self.bias_knee_v

    def supply_v(self, draw: Draw) -> float:
        """At the supply's own terminals, before the lead."""
        return draw.terminal_v + draw.supply_a * self.source.lead_ohm

    def flows(self, rail_v: float) -> Flows:
        """Where the power goes at `rail_v`."""
        draw = self.converter.draw(self.source, rail_v)
        limit_v = self.limit_v(rail_v)
        stages_w, output_w = rail_v * self._bias(rail_v)[0], 0.0
        loads: list[float] = []
        for stage in self.stages:
            means = stage.means(limit_v)
            path_s = stage.path_s
            stages_w += (rail_v * means.absolute_v - means.square_v2) * path_s
            output_w += means.square_v2 * path_s**2 * stage.output_ohm
            loads.append(means.square_v2 * path_s * stage.share)
        small_a = min(self.converter.small_stages_a, draw.supply_a)
        open_w = self.converter.open_rail_v(draw.terminal_v) * draw.charge_a
        return Flows(
            supply=self.supply_v(draw) * draw.supply_a,
            lead=self.source.lead_ohm * draw.supply_a**2,
            small_stages=draw.terminal_v * small_a,
            conversion=open_w * (1 / self.converter.efficiency - 1),
            stiffness=self.converter.stiffness_ohm * draw.charge_a**2,
            stages=stages_w,
            output_resistance=output_w,
            bleeder=rail_v**2 / self.bleeder_ohm,
            loads=tuple(loads),
        )
