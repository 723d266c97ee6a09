"""A multimeter with one sensor at its terminals: a thermocouple that it turns into degrees itself (`CONF:TEMP TC,K`), a
Pt100 of which it shows the ohms, or a sensor of 10 mV for each degree."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.device.parameters import Mnemonic
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.thermometers.sensors import Sensors
from benchctl.simulator.model.description import ThermometerDescription

Sensor = Literal["thermocouple", "pt100", "10 mV/K"]
Function = Literal["dc voltage", "resistance", "temperature"]

V_PER_K = 0.010
# IEC 60751: resistance of a platinum sensor over that at 0 degC.
_A, _B, _C = 3.9083e-3, -5.775e-7, -4.183e-12


def pt100_ohm(temperature_c: float) -> float:
    """Of a Pt100, after IEC 60751."""
    cold = _C * (temperature_c - 100.0) * temperature_c**3 if temperature_c < 0 else 0.0
    return 100.0 * (1.0 + _A * temperature_c + _B * temperature_c**2 + cold)


class SensorMultimeter(Instrument[Function]):
    """It measures what it is set to, whatever is at its terminals: ohms at a sensor of volts are an overload, 9.9E37,
    as an open sensor is. After *RST it measures dc volts."""

    model = "Multimeter with a sensor"

    def __init__(
        self, sensor: Sensor, physical_bench: PhysicalBench, now: Now, description: ThermometerDescription
    ) -> None:
        self._sensors = Sensors(physical_bench, description)
        self._sensor = sensor
        super().__init__(physical_bench, now)

    def defaults(self) -> Function:
        """Dc volts."""
        return "dc voltage"

    def snapshot(self) -> Function:
        """What it measures."""
        return self._function

    def restore(self, settings: Function) -> None:
        """Measure something else."""
        self._function = settings

    def add_commands(self, tree: CommandTree) -> None:
        """CONFigure and READ?."""
        tree.add("CONFigure:TEMPerature", set=lambda _: self.restore("temperature"),
                 parameters=[Mnemonic("TCouple"), Mnemonic("J", "K", "T")])  # fmt: skip
        tree.add("CONFigure:RESistance", set=lambda _: self.restore("resistance"))
        tree.add("CONFigure:VOLTage[:DC]", set=lambda _: self.restore("dc voltage"))
        tree.add("READ", query=lambda _: self._read())

    def _read(self) -> float:
        shown_c = self._sensors.shown_c(self._sensors.wired[0])
        if shown_c is None:
            return math.inf
        match self._function, self._sensor:
            case ("temperature", "thermocouple"):
                return shown_c
            case ("resistance", "pt100"):
                return pt100_ohm(shown_c)
            case ("dc voltage", "10 mV/K"):
                return V_PER_K * shown_c
            case ("dc voltage", _):
                return 0.0
            case _:
                return math.inf


def with_sensor(sensor: Sensor) -> Callable[[PhysicalBench, Now, ThermometerDescription], SensorMultimeter]:
    """Makes the multimeter with this sensor at its terminals."""

    def make(physical_bench: PhysicalBench, now: Now, description: ThermometerDescription) -> SensorMultimeter:
        return SensorMultimeter(sensor, physical_bench, now, description)

    return make
