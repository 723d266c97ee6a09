"""Supply, converter, reservoirs and stages at many instants at once: what flows, and how the reservoirs move."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.circuit import Circuit
from benchctl.simulator.amplifier.converter import ConverterDraw
from benchctl.simulator.amplifier.rails.charging import Charging, Windings, charge
from benchctl.simulator.amplifier.rails.demand import Demand, Drawn, reservoirs_of
from benchctl.simulator.amplifier.rails.solution import Slopes
from benchctl.simulator.amplifier.rails.voltages import Rails
from benchctl.simulator.amplifier.rows import mean, total

Samples = NDArray[np.float64]

ROUNDS = 4
"""The drop in a reservoir's series resistance depends on a load that depends on it where it clips; each round is nearer
by the resistance over the load's, some hundredths."""

CHARGED = 0.99
"""Of the open rail."""


class Flowing(NamedTuple):
    """At each instant; voltages and currents of the rails have a row for each rail."""

    rails_v: Samples
    """behind the series resistance of the reservoirs"""
    drawn: Drawn
    charging: Charging


class Network:
    """The circuit at fixed instants, for any voltages of its reservoirs then; `turns`: of the tone's cycle."""

    def __init__(self, circuit: Circuit, turns: Samples) -> None:
        self._circuit = circuit
        self._reservoirs = reservoirs_of(circuit)
        self._windings = Windings(self._reservoirs.voltage_part, self._reservoirs.source_ohm + self._reservoirs.esr_ohm)
        self._demand = Demand(circuit, self._reservoirs, turns)

    def at(self, reservoirs_v: Samples) -> Flowing:
        """With these voltages of the reservoirs, one rail in a row."""
        if not self._circuit.esr_ohm:
            return Flowing(reservoirs_v, self._demand.at(reservoirs_v), self._charging(reservoirs_v))
        esr_ohm, rails_v = self._reservoirs.esr_ohm, reservoirs_v
        for _ in range(ROUNDS):
            drawn = self._demand.at(rails_v)
            charging = self._charging(reservoirs_v - esr_ohm * drawn.load_a)
            rails_v = reservoirs_v + esr_ohm * (charging.charge_a - drawn.load_a)
        return Flowing(rails_v, drawn, charging)

    def _charging(self, behind_v: Samples) -> Charging:
        return charge(self._circuit.converter, self._circuit.source, behind_v, self._windings)

    def charged(self, reservoirs_v: Samples) -> Samples:
        """The same, or lower, so that every diode conducts: the rails of a first guess need a source to hold them."""
        converter = self._circuit.converter
        open_v = converter.open_rail_v(self._circuit.source.voltage_v) * self._reservoirs.voltage_part
        return np.minimum(reservoirs_v, CHARGED * open_v) if converter.ratio > 0 else reservoirs_v

    def slopes(self, reservoirs_v: Samples) -> Slopes:
        """How the reservoirs move."""
        now = self.at(reservoirs_v)
        farads = self._reservoirs.capacitance_f
        charging = now.charging
        decay = (charging.slope_s + now.drawn.slope_s) / farads
        return Slopes((charging.charge_a - now.drawn.load_a) / farads, decay, charging.across_s / mean(farads))

    def powers(self, now: Flowing) -> list[Samples]:
        """In the order of `Flows`, then what the supply measures: volts, amperes."""
        circuit, charging, reservoirs = self._circuit, now.charging, self._reservoirs
        converter, supply_a = circuit.converter, charging.supply_a
        output_v = charging.terminal_v + circuit.source.lead_ohm * supply_a
        open_v = np.minimum(converter.ratio * charging.terminal_v, converter.regulated_v)
        given_w = open_v * total(reservoirs.voltage_part * charging.charge_a)
        # The drop in a series resistance makes the rails another little than they were when the stages were worked out.
        stages = self._demand.stages_at(now.rails_v) if circuit.esr_ohm else now.drawn.stages
        stages_w, outputs_w, bleeder_w, loads_w = self._demand.flows(now.rails_v, stages)
        return [
            output_v * supply_a,
            circuit.source.lead_ohm * supply_a**2,
            charging.terminal_v * np.minimum(converter.small_stages_a, supply_a),
            given_w * (1 / converter.efficiency - 1),
            total(reservoirs.source_ohm * charging.charge_a**2),
            total(reservoirs.esr_ohm * (charging.charge_a - now.drawn.load_a) ** 2),
            stages_w,
            outputs_w,
            bleeder_w,
            *loads_w,
            charging.terminal_v if circuit.source.sensed else output_v,
            supply_a,
        ]


def draw_at(circuit: Circuit, rails: Rails) -> ConverterDraw:
    """The converter at an instant, with rails that differ."""
    reservoirs = reservoirs_of(circuit)
    windings = Windings(reservoirs.voltage_part, reservoirs.source_ohm)
    at = charge(circuit.converter, circuit.source, np.asarray(rails)[:, None], windings)
    charge_a, slope_s = float(at.charge_a.sum()), -float(at.slope_s.sum())
    return ConverterDraw(float(at.terminal_v[0]), float(at.supply_a[0]), charge_a, slope_s)
