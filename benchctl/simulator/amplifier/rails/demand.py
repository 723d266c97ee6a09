"""What stages, bias and bleeder take from each rail at many instants at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.circuit import Circuit
from benchctl.simulator.amplifier.output_stage import Instants
from benchctl.simulator.amplifier.rows import total

Samples = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Reservoirs:
    """The rails that are followed, one in a row: two where they are loaded in turn, else both as one."""

    voltage_part: Samples
    source_ohm: Samples
    capacitance_f: Samples
    esr_ohm: Samples
    bleeder_ohm: Samples

    @property
    def rails(self) -> int:
        """How many are followed."""
        return len(self.source_ohm)


def reservoirs_of(circuit: Circuit) -> Reservoirs:
    """A rail of two has twice the resistance and half the capacitance of both as one."""
    rails = 2 if circuit.rails_apart else 1
    column = np.full((rails, 1), float(rails))
    capacitance, voltage = (np.asarray(part)[:rails, None] for part in circuit.sides)
    return Reservoirs(
        voltage_part=voltage,
        source_ohm=column * circuit.converter.stiffness_ohm,
        capacitance_f=capacitance * circuit.reservoir_f / column,
        esr_ohm=column * circuit.esr_ohm,
        bleeder_ohm=column * circuit.bleeder_ohm,
    )


Stages = list[Instants | None]
"""Each stage at each instant; None: a muted one."""


class Drawn(NamedTuple):
    """What is taken from the rails at each instant."""

    load_a: Samples
    """from each rail"""
    slope_s: Samples
    """how it rises with the voltage of its rail, A/V"""
    stages: Stages


class Demand:
    """The load on the rails at fixed instants, for any voltages that they may have then.

    Args:
        circuit: what loads them.
        reservoirs: of this circuit.
        turns: of the tone's cycle at each instant.
    """

    def __init__(self, circuit: Circuit, reservoirs: Reservoirs, turns: Samples) -> None:
        self._circuit = circuit
        self._reservoirs = reservoirs
        self._asked_v = [stage.asked_v(turns) for stage in circuit.stages]

    def at(self, rails_v: Samples) -> Drawn:
        """What is taken from rails of these voltages."""
        load_a, slope_s = self._bias_a(rails_v)
        load_a = load_a + rails_v / self._reservoirs.bleeder_ohm
        slope_s = slope_s + 1 / self._reservoirs.bleeder_ohm
        stages = self.stages_at(rails_v)
        for now in stages:
            if now is not None:
                load_a, slope_s = load_a + now.taken_a, slope_s + now.slope_s
        return Drawn(load_a, slope_s, stages)

    def stages_at(self, rails_v: Samples) -> Stages:
        """Each stage at each instant."""
        saturation_v = self._circuit.saturation_v
        return [
            stage.at_instants(asked_v, rails_v, saturation_v) if stage.live else None
            for stage, asked_v in zip(self._circuit.stages, self._asked_v, strict=True)
        ]

    def flows(self, rails_v: Samples, stages: Stages) -> tuple[Samples, Samples, Samples, list[Samples]]:
        """Power in the stages with their bias, in the output resistances, in the bleeder, and in each load; `stages`
        as they are at these rails."""
        nothing = np.zeros(rails_v.shape[1])
        stages_w = total(rails_v * self._bias_a(rails_v)[0])
        outputs_w, loads_w = nothing, []
        for stage, now in zip(self._circuit.stages, stages, strict=True):
            lost_w, output_w, load_w = nothing, nothing, nothing
            if now is not None:
                lost_w, output_w, load_w = stage.instant_flows(now, rails_v)
            stages_w, outputs_w = stages_w + lost_w, outputs_w + output_w
            loads_w.append(load_w)
        return stages_w, outputs_w, total(rails_v**2 / self._reservoirs.bleeder_ohm), loads_w

    def _bias_a(self, rails_v: Samples) -> tuple[Samples | float, Samples | float]:
        """What the bias takes from each rail; the whole of it flows from either rail to the other."""
        each_a = 2 * self._circuit.bias_a / self._reservoirs.rails
        knee_v = self._circuit.bias_knee_v
        starved = rails_v < knee_v
        if not starved.any():
            return each_a, 0.0
        bias_a: Samples = each_a * np.where(starved, rails_v / knee_v, 1.0)
        return bias_a, np.where(starved, each_a / knee_v, 0.0)
