"""The points of an amplifier and its bench at which a multimeter measures: what each has at an instant."""

from __future__ import annotations

from benchctl.documents.bench_file.simulation import PointSimulation
from benchctl.simulator.hardware.physical_bench import PhysicalBench

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
            rails = self._bench.rails
            return rails.plus_v if true.rail == "plus" else -rails.minus_v
        if true.supply is not None:
            return self._terminal_v()
        return true.dc_v or 0.0

    def ac_v(self, point: str | None) -> float:
        """Its ac voltage, RMS."""
        return self._true(point).ac_v or 0.0

    def resistance_ohm(self, point: str | None) -> float | None:
        """Its resistance; None where the leads are open."""
        return self._true(point).resistance_ohm

    def temperature_c(self, point: str | None) -> float | None:
        """Of the thermocouple there; None where there is none, or where it is broken."""
        sensor = self._true(point).sensor
        return None if sensor is None else self._bench.connections.sensor_c(sensor)

    def _terminal_v(self) -> float:
        circuit = self._bench.circuit()
        return circuit.converter.draw(circuit.source, self._bench.rail_v).terminal_v

    def _bias_a(self) -> float:
        return self._bench.circuit().bias_of_one_a(self._bench.rail_v)

    def _true(self, point: str | None) -> PointSimulation:
        return OPEN_LEADS if point is None else self._points.get(point, OPEN_LEADS)
