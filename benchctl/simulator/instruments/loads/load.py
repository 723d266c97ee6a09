"""The load: a bank of resistors behind relays, or an electronic load in resistance mode."""

from __future__ import annotations

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, ChannelList, Mnemonic, Numeric
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now, action
from benchctl.simulator.instruments.loads.channel_list import ChannelListSwitch
from benchctl.simulator.instruments.loads.resistance import TrueResistance
from benchctl.simulator.model.description import LoadDescription


class SimulatedRelayBank(ChannelListSwitch):
    """ROUTe:CLOSe and OPEN of SCPI-99 (volume 2, chapter 18)."""

    model = "Relay bank"

    def add_commands(self, tree: CommandTree) -> None:
        """ROUTe."""
        channels = [ChannelList(self._coils.numbers)]
        tree.add("[ROUTe]:CLOSe", set=self._close, query=self._are_closed, parameters=channels,
                 query_parameters=channels)  # fmt: skip
        tree.add("[ROUTe]:CLOSe:STATe", query=lambda _: self._closed_list())
        tree.add("[ROUTe]:OPEN", set=self._open, query=self._are_open, parameters=channels,
                 query_parameters=channels)  # fmt: skip
        tree.add("[ROUTe]:OPEN:ALL", set=action(self.reset))

    def _are_closed(self, call: Call) -> list[bool]:
        return [relay in self._coils.closed for relay in call.values[0]]

    def _are_open(self, call: Call) -> list[bool]:
        return [relay not in self._coils.closed for relay in call.values[0]]


class SimulatedElectronicLoad(Instrument[float]):
    """INPut and RESistance of SCPI-99, one setting for all inputs; it takes ac of either polarity.

    *SAV saves the resistance; after *RCL the input is off.
    """

    model = "Electronic load"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: LoadDescription) -> None:
        self._description = description
        self._true = TrueResistance(physical_bench, description)
        super().__init__(physical_bench, now)

    def defaults(self) -> float:
        """Highest resistance."""
        return self._description.highest_ohm

    def snapshot(self) -> float:
        """The resistance."""
        return self._resistance_ohm

    def restore(self, settings: float) -> None:
        """A resistance, and the input off."""
        self._resistance_ohm, self._connected = settings, False
        self._apply()

    def add_commands(self, tree: CommandTree) -> None:
        """SOURce:FUNCtion and RESistance, INPut."""
        tree.add("[SOURce]:FUNCtion[:MODE]", set=lambda _: None, query=lambda _: "RES",
                 parameters=[Mnemonic("RESistance")])  # fmt: skip
        resistance = Numeric("OHM", self._description.lowest_ohm, self._description.highest_ohm,
                             self._description.highest_ohm)  # fmt: skip
        tree.add("[SOURce]:RESistance[:LEVel][:IMMediate][:AMPLitude]", set=self._set_resistance,
                 query=lambda _: self._resistance_ohm, parameters=[resistance])  # fmt: skip
        tree.add("INPut[:STATe]", set=self._switch, query=lambda _: self._connected, parameters=[Boolean()])

    def _set_resistance(self, call: Call) -> None:
        (self._resistance_ohm,) = call.values
        self._apply()

    def _switch(self, call: Call) -> None:
        (self._connected,) = call.values
        self._apply()

    def _apply(self) -> None:
        self._true.set_to(self._resistance_ohm, connected=self._connected)
