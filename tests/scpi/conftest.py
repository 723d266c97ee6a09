"""An instrument that has one of everything: a supply with two outputs, a scanner, a recorder that takes its time."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pytest

from benchctl.scpi.device.device import Device, Hooks, Identity
from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, ChannelList, Mnemonic, Numeric, Parameter
from benchctl.scpi.errors import ScpiError
from benchctl.scpi.hislip.endpoint import HislipEndpoint
from benchctl.scpi.scanner import Datum, Kind
from tests.scpi.hislip_client import Client, endpoint_of

CHANNELS = (101, 102, 103, 105)


class String(Parameter):
    """A quoted string of at most 20 characters; the value is the text between the quotation marks."""

    def read(self, datum: Datum) -> str:
        text = self._take(datum, Kind.STRING)
        if len(text) > 20:
            raise ScpiError(-223, "more than 20 characters")
        return text


class Block(Parameter):
    """A block of at most 64 bytes; the value is its data."""

    def read(self, datum: Datum) -> bytes:
        data = self._take(datum, Kind.BLOCK).encode("latin-1")
        if len(data) > 64:
            raise ScpiError(-223, "more than 64 bytes")
        return data


@dataclass
class Bench:
    """What the instrument did last, and a Device in front of it."""

    calls: list[tuple[str, Call]] = field(default_factory=list)
    voltage_v: float = 0.0
    output: int = 1
    is_acquiring: bool = False
    ceiling_v: float = 20.0
    saved: dict[int, float] = field(default_factory=dict)
    device: Device = field(init=False)

    def __post_init__(self) -> None:
        hooks = Hooks(
            reset=self.reset,
            pending=lambda: self.is_acquiring,
            save=self.save,
            recall=self.recall,
            trigger=lambda: self.note("trigger", Call((), ())),
        )
        self.device = Device(Identity("Harbour", "HB-1", "7", "1.0"), make_tree(self), hooks, error_queue_size=5)

    def note(self, name: str, call: Call) -> None:
        self.calls.append((name, call))

    def noting(self, name: str) -> Any:
        return lambda call: self.note(name, call)

    def set_voltage(self, call: Call) -> None:
        (self.voltage_v,) = call.values

    def set_output(self, call: Call) -> None:
        (self.output,) = call.values

    def acquire(self, _: Call) -> None:
        self.is_acquiring = True

    def reset(self) -> None:
        self.voltage_v, self.output, self.is_acquiring = 0.0, 1, False

    def save(self, place: int) -> None:
        self.saved[place] = self.voltage_v

    def recall(self, place: int) -> None:
        self.voltage_v = self.saved[place]

    @property
    def last_values(self) -> tuple[Any, ...]:
        return self.calls[-1][1].values

    def ask(self, message: str) -> str:
        """The response to `message` without its end; it must have one at once."""
        response = self.device.begin(message.encode("latin-1") + b"\n").response
        assert isinstance(response, bytes), response
        assert response.endswith(b"\n")
        return response[:-1].decode("latin-1")

    def tell(self, message: str) -> None:
        """Run a message that must have no response."""
        assert self.device.begin(message.encode("latin-1") + b"\n").response is None

    def errors(self) -> list[int]:
        """The numbers in the error queue, which is emptied."""
        return [entry.code for entry in self.device.errors.pop_all() if entry.code]


def make_tree(bench: Bench) -> CommandTree:
    tree = CommandTree()
    tree.add(
        "INSTrument:NSELect",
        set=bench.set_output,
        query=lambda _: bench.output,
        parameters=[Numeric("", 1, 2, 1, whole=True)],
    )
    tree.add(
        "[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]",
        set=bench.set_voltage,
        query=lambda _: bench.voltage_v,
        parameters=[Numeric("V", 0.0, lambda: bench.ceiling_v, 0.0)],
    )
    tree.add("[SOURce]:FREQuency", set=bench.noting("frequency"), parameters=[Numeric("HZ", 1.0, 1e9)])
    tree.add("[SOURce]:LIST:DWELl", set=bench.noting("dwell"), parameters=[Numeric("S", 0.0, repeats=True)])
    tree.add("[SOURce]:LIST:COUNt", set=bench.noting("count"), parameters=[Numeric("", 1, infinite=True, whole=True)])
    tree.add("MEASure[:SCALar]:VOLTage[:DC]", query=lambda _: bench.voltage_v)
    tree.add("OUTPut<1:2>[:STATe]", set=bench.noting("output"), query=lambda call: call.suffixes[0] == 2,
             parameters=[Boolean()])  # fmt: skip
    tree.add("FUNCtion", set=bench.noting("function"), parameters=[Mnemonic("SINusoid", "SQUare", "CHANnel1")])
    tree.add("DISPlay:TEXT", set=bench.noting("text"), parameters=[String()])
    tree.add("TRACe:DATA", set=bench.noting("data"), query=lambda _: b"a\nb", parameters=[Block()])
    tree.add("APPLy", set=bench.noting("apply"), parameters=[Numeric("V", 0, 20), Numeric("A", 0, 9, optional=True)])
    tree.add("ROUTe:CLOSe", set=bench.noting("close"), query=lambda call: [1 for _ in call.values[0]],
             parameters=[ChannelList(CHANNELS)], query_parameters=[ChannelList(CHANNELS)])  # fmt: skip
    tree.add("INITiate", set=bench.acquire)
    tree.add("FETCh", query=lambda _: [1.5, float("nan"), float("inf"), 3])
    return tree


@pytest.fixture
def bench() -> Bench:
    return Bench()


@pytest.fixture
def endpoint(bench: Bench) -> HislipEndpoint:
    bench.device.status.take_event()  # power on
    return endpoint_of(bench.device)


@pytest.fixture
def client(endpoint: HislipEndpoint) -> Client:
    return Client(endpoint)
