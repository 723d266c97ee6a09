"""The forms of thermometer by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.simulated import SimulatedInstrument
from benchctl.simulator.instruments.thermometers.always_eight import EightChannelThermometer
from benchctl.simulator.instruments.thermometers.degrees_as_text import DisplayThermometer
from benchctl.simulator.instruments.thermometers.kelvin_by_letter import LetterThermometer
from benchctl.simulator.instruments.thermometers.multimeter_with_sensor import with_sensor
from benchctl.simulator.instruments.thermometers.number_unit_type import LoggerThermometer
from benchctl.simulator.instruments.thermometers.scan_list import ScanListThermometer
from benchctl.simulator.instruments.thermometers.thermometer import SimulatedThermometer
from benchctl.simulator.model.description import ThermometerDescription

FORMS: Mapping[str, Callable[[PhysicalBench, Now, ThermometerDescription], SimulatedInstrument]] = {
    "scpi99": SimulatedThermometer,
    "scan_list": ScanListThermometer,
    "thermocouple_at_multimeter": with_sensor("thermocouple"),
    "pt100_at_multimeter": with_sensor("pt100"),
    "millivolts_at_multimeter": with_sensor("10 mV/K"),
    "kelvin_by_letter": LetterThermometer,
    "degrees_as_text": DisplayThermometer,
    "number_unit_type": LoggerThermometer,
    "always_eight": EightChannelThermometer,
}
