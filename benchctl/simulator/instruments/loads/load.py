"""The load: a bank of resistors behind relays, or an electronic load in resistance mode."""

from __future__ import annotations

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, ChannelList, Mnemonic, Numeric
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now, action
from benchctl.simulator.model.description import BenchDescription, LoadDescription

SHORTED_OHM = 1e-3
"""The errors never make a load lower than the resistance of its leads."""


class SimulatedRelayBank(Instrument[frozenset[int]]):
    """ROUTe:CLOSe and OPEN of SCPI-99 (volume 2, chapter 18).

    The only thing to save is which relays are closed. A recall first opens relays and then closes others; otherwise two
    resistors would be in parallel for an instant.
    """

    model = "Relay bank"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: BenchDescription) -> None:
        assert description.load is not None
        relays = {resistor.relay for resistor in description.load.resistors}
        if description.remote is not None and description.remote.by == "relay":
            relays.add(description.remote.relay)
        relays.update(description.input_relays.values())
        self._relays = tuple(sorted(relays))
        super().__init__(physical_bench, now)

    def defaults(self) -> frozenset[int]:
        """Every relay open."""
        return frozenset()

    def snapshot(self) -> frozenset[int]:
        """The closed relays."""
        return frozenset(self.connections.closed_relays)

    def restore(self, settings: frozenset[int]) -> None:
        """Open the others, then close these."""
        for relay in self._relays:
            if relay not in settings:
                self.connections.open_relay(relay)
        for relay in sorted(settings):
            self.connections.close_relay(relay, self.physical_bench.time_s)

    def add_commands(self, tree: CommandTree) -> None:
        """ROUTe."""
        channels = [ChannelList(self._relays)]
        tree.add("[ROUTe]:CLOSe", set=self._close, query=self._are_closed, parameters=channels,
                 query_parameters=channels)  # fmt: skip
        tree.add("[ROUTe]:CLOSe:STATe", query=lambda _: self._closed_list())
        tree.add("[ROUTe]:OPEN", set=self._open, query=self._are_open, parameters=channels,
                 query_parameters=channels)  # fmt: skip
        tree.add("[ROUTe]:OPEN:ALL", set=action(self.reset))

    def _close(self, call: Call) -> None:
        for relay in call.values[0]:
            self.connections.close_relay(relay, self.physical_bench.time_s)

    def _open(self, call: Call) -> None:
        for relay in call.values[0]:
            self.connections.open_relay(relay)

    def _are_closed(self, call: Call) -> list[bool]:
        return [relay in self.connections.closed_relays for relay in call.values[0]]

    def _are_open(self, call: Call) -> list[bool]:
        return [relay not in self.connections.closed_relays for relay in call.values[0]]

    def _closed_list(self) -> str:
        return "(@{})".format(",".join(str(relay) for relay in sorted(self.connections.closed_relays)))


class SimulatedElectronicLoad(Instrument[float]):
    """INPut and RESistance of SCPI-99, one setting for all inputs; it takes ac of either polarity.

    *SAV saves the resistance; after *RCL the input is off.
    """

    model = "Electronic load"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: LoadDescription) -> None:
        self._description = description
        # Its error is a part of the setting and a fixed part.
        self._errors = {
            channel: physical_bench.true_errors.error(
                f"load {channel}", description.resistance, description.highest_ohm
            )
            for channel in description.channels
        }
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
        for resistor in self.connections.loads.resistors:
            true_ohm = self._errors[resistor.true_errors.channel].indicated(self._resistance_ohm)
            self.connections.loads.set_resistance(resistor, max(true_ohm, SHORTED_OHM))
            self.connections.loads.connect(resistor, connected=self._connected)
