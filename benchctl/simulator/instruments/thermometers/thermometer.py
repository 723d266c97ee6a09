"""The temperature scanner: MEASure:TEMPerature of SCPI-99, an open input reads 9.91E37."""

from __future__ import annotations

import math

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import ChannelList, Mnemonic
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.thermometers.sensors import Sensors
from benchctl.simulator.model.description import ThermometerDescription

_FROM_CELSIUS = {"C": (1.0, 0.0), "CEL": (1.0, 0.0), "F": (1.8, 32.0), "FAR": (1.8, 32.0), "K": (1.0, 273.15)}


class SimulatedThermometer(Instrument[str]):
    """One sensor on each channel; the only setting is the unit."""

    model = "Temperature scanner"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: ThermometerDescription) -> None:
        self._sensors = Sensors(physical_bench, description)
        super().__init__(physical_bench, now)

    def defaults(self) -> str:
        """Degrees Celsius."""
        return "C"

    def snapshot(self) -> str:
        """The unit."""
        return self._unit

    def restore(self, settings: str) -> None:
        """A unit."""
        self._unit = settings

    def add_commands(self, tree: CommandTree) -> None:
        """MEASure:TEMPerature?, UNIT:TEMPerature."""
        tree.add(
            "MEASure[:SCALar]:TEMPerature", query=self._measure, query_parameters=[ChannelList(self._sensors.inputs)]
        )
        tree.add("UNIT:TEMPerature", set=self._set_unit, query=lambda _: self._unit,
                 parameters=[Mnemonic("C", "CEL", "F", "FAR", "K")])  # fmt: skip

    def _set_unit(self, call: Call) -> None:
        (self._unit,) = call.values

    def _measure(self, call: Call) -> list[float]:
        return [self._reading(channel) for channel in call.values[0]]

    def _reading(self, channel: int) -> float:
        shown_c = self._sensors.shown_c(channel)
        if shown_c is None:
            return math.nan  # answered as 9.91E37: an open circuit
        factor, zero = _FROM_CELSIUS[self._unit]
        return factor * shown_c + zero
