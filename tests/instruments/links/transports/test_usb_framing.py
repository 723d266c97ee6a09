"""USBTMC by its framing alone: pyvisa-py's side of it, and a device that holds it to the standard. No USB is needed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from benchctl.clock import RealClock
from benchctl.errors import NoAnswer
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.link import Link
from benchctl.instruments.links.settings import LinkSettings
from benchctl.instruments.links.transports.messages import MessageLink
from benchctl.instruments.session import Session
from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.bench import SimulatedBench
from tests.simulator.benches import describe

pytest.importorskip("usb")


class Resource:
    """What pyvisa gives for a USB instrument, with the parts that a link uses."""

    chunk_size = 0
    timeout = 0

    def __init__(self, transfers: Any) -> None:
        self._transfers = transfers

    def write_raw(self, data: bytes) -> None:
        self._transfers.write(data)

    def read_raw(self) -> bytes:
        import pyvisa
        import usb

        try:
            return bytes(self._transfers.read(self.chunk_size))
        except usb.core.USBError as error:
            raise pyvisa.errors.VisaIOError(pyvisa.constants.StatusCode.error_timeout) from error

    def clear(self) -> None:
        self._transfers.usb_recv_ep.clear()

    def close(self) -> None:
        pass


@pytest.fixture(params=[64, 512], ids=["full-speed", "high-speed"])
def opener(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Opens a link to the instrument in a role; the packets are those of USB 2.0 (5.8.3)."""
    from pyvisa_py.protocols.usbtmc import USBTMC

    from tests.instruments.links.transports.usbtmc_device import UsbDevice

    bench = SimulatedBench(describe(), RealClock().now)

    def open_link(role: str, settings: LinkSettings) -> Link:
        transfers = USBTMC.__new__(USBTMC)
        device = UsbDevice(Conversation(bench.devices[role], interruptible=True), request.param)
        transfers.usb_recv_ep = transfers.usb_send_ep = device
        transfers._btag, transfers.timeout = 0, 1000
        transfers._abort_bulk_in = lambda tag: None
        monkeypatch.setattr("benchctl.instruments.links.transports.messages.opened", lambda *_: Resource(transfers))
        return MessageLink(role)

    yield open_link
    bench.close()


def session_with(role: str, opener: Any) -> Session:
    session = Session(role, role, Interlock(RealClock()), opener=opener, timeout_s=1.0)
    session.open()
    return session


def test_messages_go_out_and_answers_come_in(opener: Any) -> None:
    session = session_with("supply", opener)
    assert session.identity.startswith("benchctl,Dc supply")
    session.command("INST:NSEL 1;:VOLT 14.4")
    assert session.ask_number("VOLT?") == pytest.approx(14.4)
    session.check_errors()


def test_a_message_longer_than_a_packet_goes_in_several_transfers(opener: Any) -> None:
    """Only the last of them says that the message ends there (USBTMC 1.00, table 3)."""
    session = session_with("supply", opener)
    session.command(";:".join(f"INST:NSEL 1;:VOLT {volts}" for volts in range(1, 15)) + ";:VOLT 14.4")
    assert session.ask_number("VOLT?") == pytest.approx(14.4)
    session.check_errors()


@pytest.mark.parametrize("points", [100, 250, 256, 5000, 100_000])
def test_a_block_comes_whole_whatever_its_length_is(opener: Any, points: int) -> None:
    """A transfer may end with a packet's end, and a block may end in a byte that looks like the end of a line."""
    session = session_with("oscilloscope", opener)
    for command in ("TRIG:SWE AUTO", f"ACQ:POIN {points}", "WAV:FORM WORD", "WAV:SOUR CHAN1", "SING"):
        session.command(command)
    while session.ask("ACQ:COMP?") != "1":
        pass
    assert len(session.ask_block("WAV:DATA?", 5.0)) == 2 * points
    assert session.ask("ACQ:COMP?") == "1"


def test_a_question_without_an_answer_ends_in_words(opener: Any) -> None:
    session = session_with("supply", opener)
    with pytest.raises(NoAnswer, match=r"no answer to NONE\?"):
        session.ask("NONE?")
