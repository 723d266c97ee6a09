"""The forms of thermometer by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.simulated import SimulatedInstrument
from benchctl.simulator.instruments.thermometers.thermometer import SimulatedThermometer
from benchctl.simulator.model.description import ThermometerDescription

FORMS: Mapping[str, Callable[[PhysicalBench, Now, ThermometerDescription], SimulatedInstrument]] = {
    "scpi99": SimulatedThermometer,
}
