"""A scanner that measures a list of channels one after another: `ROUT:SCAN (@101:103)`, then `READ?` answers all."""

from __future__ import annotations

import math
from typing import NamedTuple

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import ChannelList, Mnemonic
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.thermometers.sensors import Sensors
from benchctl.simulator.model.description import ThermometerDescription


class ScanSettings(NamedTuple):
    """What *RST sets."""

    configured: frozenset[int]
    """the channels that are set to measure a thermocouple"""
    scanned: tuple[int, ...]


class ScanListThermometer(Instrument[ScanSettings]):
    """After *RST its list is empty and no channel measures a temperature. An open thermocouple is 9.9E37, as an
    overload is on any of its channels."""

    model = "Scanner"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: ThermometerDescription) -> None:
        self._sensors = Sensors(physical_bench, description)
        super().__init__(physical_bench, now)

    def defaults(self) -> ScanSettings:
        """Nothing to scan."""
        return ScanSettings(frozenset(), ())

    def snapshot(self) -> ScanSettings:
        """What is configured, and the list."""
        return ScanSettings(self._configured, self._scanned)

    def restore(self, settings: ScanSettings) -> None:
        """Another list."""
        self._configured, self._scanned = settings

    def add_commands(self, tree: CommandTree) -> None:
        """CONFigure:TEMPerature, ROUTe:SCAN, READ?."""
        channels = ChannelList(self._sensors.inputs)
        tree.add("CONFigure:TEMPerature", set=self._configure,
                 parameters=[Mnemonic("TCouple"), Mnemonic("J", "K", "T"), channels])  # fmt: skip
        tree.add("ROUTe:SCAN", set=self._set_list, query=lambda _: self._listed(), parameters=[channels])
        tree.add("READ", query=lambda _: self._read())

    def _configure(self, call: Call) -> None:
        channels = call.values[-1]
        self._configured = self._configured | frozenset(channels)
        self._scanned = channels

    def _set_list(self, call: Call) -> None:
        (self._scanned,) = call.values

    def _listed(self) -> str:
        return "(@{})".format(",".join(str(channel) for channel in self._scanned))

    def _read(self) -> list[float]:
        if not self._scanned:
            raise ScpiError(-221, "the scan list is empty")
        return [self._reading(channel) for channel in self._scanned]

    def _reading(self, channel: int) -> float:
        if channel not in self._configured:
            raise ScpiError(-221, f"channel {channel} does not measure a temperature")
        shown_c = self._sensors.shown_c(channel)
        return math.inf if shown_c is None else shown_c
