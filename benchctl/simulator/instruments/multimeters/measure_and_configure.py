"""A multimeter with the usual words: `MEAS:VOLT:DC?` does all at once; `CONF:VOLT:AC` and `READ?` do it in two."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from benchctl.scpi.device.headers import Call, CommandTree, QueryHandler, SetHandler
from benchctl.scpi.device.parameters import ChannelList, Mnemonic, Numeric, Parameter
from benchctl.scpi.errors import ScpiError
from benchctl.scpi.scanner import Datum, Kind
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.multimeters.leads import Leads, Quantity
from benchctl.simulator.model.description import MultimeterDescription

_HEADERS: dict[Quantity, str] = {
    "dc voltage": "VOLTage[:DC]",
    "ac voltage": "VOLTage:AC",
    "resistance": "RESistance",
}
_FOUR_WIRE = "FRESistance"


class _RangeOrChannels(Parameter):
    """A range, MIN, MAX or DEF, or a channel list: either may stand first."""

    def __init__(self, channels: ChannelList) -> None:
        super().__init__(optional=True)
        self._range = Numeric("", 0.0, 1e9, 0.0)
        self._channels = channels

    def read(self, datum: Datum) -> Any:
        """Whichever it is."""
        return self._channels.read(datum) if datum.kind is Kind.EXPRESSION else self._range.read(datum)

    def settle(self, reading: Any) -> Any:
        """A range is checked, channels are not."""
        return reading if isinstance(reading, tuple) else self._range.settle(reading)


class MultimeterSettings(NamedTuple):
    """What *RST sets."""

    quantity: Quantity
    range_: float | None
    channels: tuple[int, ...]


class Multimeter(Instrument[MultimeterSettings]):
    """With a scanner a channel list stands behind the range, and several channels are answered in one list; without
    one, a channel list is an error. An overload or an open thermocouple is 9.9E37."""

    model = "Multimeter"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: MultimeterDescription) -> None:
        self._leads = Leads(physical_bench, description)
        super().__init__(physical_bench, now)

    def defaults(self) -> MultimeterSettings:
        """Dc volts in the range that suits."""
        return MultimeterSettings("dc voltage", None, ())

    def snapshot(self) -> MultimeterSettings:
        """What it measures, and where."""
        return self._settings

    def restore(self, settings: MultimeterSettings) -> None:
        """Measure something else."""
        self._settings = settings

    def add_commands(self, tree: CommandTree) -> None:
        """MEASure, CONFigure, READ."""
        channels = ChannelList(self._leads.channels if self._leads.has_scanner else ())
        either = _RangeOrChannels(channels)
        for quantity, header in (*_HEADERS.items(), ("resistance", _FOUR_WIRE)):
            parameters = [either, either]
            tree.add(f"MEASure:{header}", query=self._measuring(quantity), query_parameters=parameters)
            tree.add(f"CONFigure:{header}", set=self._configuring(quantity), parameters=parameters)
        sensor = [Mnemonic("TCouple"), Mnemonic("J", "K", "T"), either]
        tree.add("MEASure:TEMPerature", query=self._measuring("temperature"), query_parameters=sensor)
        tree.add("CONFigure:TEMPerature", set=self._configuring("temperature"), parameters=sensor)
        tree.add("READ", query=lambda _: self._read())

    def _configuring(self, quantity: Quantity) -> SetHandler:
        return lambda call: self.restore(self._asked(quantity, call))

    def _measuring(self, quantity: Quantity) -> QueryHandler:
        def measure(call: Call) -> list[float]:
            self.restore(self._asked(quantity, call))
            return self._read()

        return measure

    def _asked(self, quantity: Quantity, call: Call) -> MultimeterSettings:
        channels = next((value for value in call.values if isinstance(value, tuple)), ())
        stated = next((value for value in call.values if isinstance(value, float) and value > 0), None)
        if self._leads.has_scanner and not channels:
            raise ScpiError(-221, "no channel is chosen")
        range_ = None if stated is None else self._leads.range_for(quantity, stated)
        return MultimeterSettings(quantity, range_, channels)

    def _read(self) -> list[float]:
        settings = self._settings
        channels: tuple[int | None, ...] = settings.channels
        if self._leads.has_scanner and not channels:
            raise ScpiError(-221, "no channel is chosen")
        shown = (self._leads.shown(settings.quantity, channel, settings.range_) for channel in channels or (None,))
        return [math.inf if value is None else value for value in shown]
