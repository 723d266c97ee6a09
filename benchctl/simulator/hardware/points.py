"""The points of an amplifier and its bench at which a multimeter measures: what each has at an instant."""

from __future__ import annotations

from typing import Literal

import numpy as np

from benchctl.documents.bench_file.simulation import PointSimulation
from benchctl.simulator.amplifier.rails.follower import swings
from benchctl.simulator.hardware import waveforms
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.waveforms import Samples

APERTURE_S = 0.1
"""What a multimeter averages over: whole cycles of 50 and of 60 Hz, as far back as the history reaches for certain."""

INSTANTS = 1009
"""A prime, so that no tone keeps step with them."""

OPEN_LEADS = PointSimulation(dc_v=0.0)
"""Leads that touch nothing: no voltage, no resistance, no thermocouple."""


class Points:
    """Every point by name. Nothing here loads the circuit: a multimeter's 10 Mohm do not count at an emitter
    resistor or a rail."""

    def __init__(self, physical_bench: PhysicalBench) -> None:
        self._bench = physical_bench
        self._points = physical_bench.description.bench.points

    def dc_v(self, point: str | None) -> float:
        """Its dc voltage."""
        true = self._true(point)
        if true.bias_of is not None:
            channels = self._bench.description.plate.channels
            is_there = true.bias_of in channels
            return (true.across_ohm or 0.0) * self._bias_a() if is_there else 0.0
        if true.rail is not None:
            rail_v = float(self._rail_v(true.rail).mean())
            return rail_v if true.rail == "plus" else -rail_v
        if true.supply is not None:
            return self._terminal_v()
        return true.dc_v or 0.0

    def ac_v(self, point: str | None) -> float:
        """Its ac voltage, RMS."""
        true = self._true(point)
        return float(self._rail_v(true.rail).std()) if true.rail is not None else true.ac_v or 0.0

    def resistance_ohm(self, point: str | None) -> float | None:
        """Its resistance; None where the leads are open."""
        true = self._true(point)
        return true.resistance_ohm if true.output is None else self._load_ohm(true.output)

    def _load_ohm(self, output: str) -> float | None:
        """What the loads at the terminals of an output have together, the amplifier taken off."""
        loads = self._bench.connections.loads.resistors
        connected = [each for each in loads if each.connected and each.true_errors.channel == output]
        return 1.0 / sum(1.0 / each.resistance_ohm for each in connected) if connected else None

    def temperature_c(self, point: str | None) -> float | None:
        """Of the thermocouple there; None where there is none, or where it is broken."""
        sensor = self._true(point).sensor
        return None if sensor is None else self._bench.connections.sensors.shown_c(sensor)

    def _rail_v(self, rail: Literal["plus", "minus"]) -> Samples:
        """Over the time that a multimeter averages, where the rail swings within a cycle."""
        number = 0 if rail == "plus" else 1
        if not swings(self._bench.circuit()):
            return np.asarray([self._bench.rails[number]])
        times_s = self._aperture_s()
        samples_v = waveforms.rails_v(self._bench.history.between(times_s[0], times_s[-1]), times_s)
        return np.asarray(samples_v[number], dtype=np.float64)

    def _aperture_s(self) -> Samples:
        """The instants of a reading, up to now."""
        now_s = self._bench.time_s
        return np.asarray(now_s - APERTURE_S * np.arange(INSTANTS - 1, -1, -1) / INSTANTS, dtype=np.float64)

    def _terminal_v(self) -> float:
        circuit = self._bench.circuit()
        if swings(circuit):
            times_s = self._aperture_s()
            return float(waveforms.terminal_v(self._bench.history.between(times_s[0], times_s[-1]), times_s).mean())
        return circuit.converter.draw(circuit.source, self._bench.rail_v).terminal_v

    def _bias_a(self) -> float:
        return self._bench.circuit().bias_of_one_a(self._bench.rail_v)

    def _true(self, point: str | None) -> PointSimulation:
        return OPEN_LEADS if point is None else self._points.get(point, OPEN_LEADS)
