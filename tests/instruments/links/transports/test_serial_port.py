"""A session with an instrument at a serial port, over pyvisa-py and a pseudo-terminal."""

from __future__ import annotations

import termios
import time

import pytest

from benchctl.clock import RealClock
from benchctl.documents.bench_file.simulated_instruments import SupplySimulation
from benchctl.errors import GarbledAnswer, NoAnswer, NotAcknowledged, NotConnected
from benchctl.guard.guardian.wires import GuardianWire
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.settings import Acknowledge, Ends, LinkSettings
from benchctl.instruments.links.transports.every_link import open_link
from benchctl.instruments.session import Session
from benchctl.simulator.model.description import BenchDescription, SupplyDescription, SupplyOutputDescription
from tests.instruments.links.transports.serial_line import SerialLine
from tests.simulator.benches import describe

pytest.importorskip("serial")


def bench_with(**vices: object) -> BenchDescription:
    outputs = (SupplyOutputDescription("main", 1, 20.0, 120.0), SupplyOutputDescription("remote", 2, 20.0, 1.0))
    return describe(supply=SupplyDescription(outputs, simulated=SupplySimulation.model_validate(vices)))


def session_with(line: SerialLine, settings: LinkSettings) -> Session:
    return Session("supply", line.address, Interlock(RealClock()), settings=settings)


CASES = [
    ({}, LinkSettings()),
    ({"ends": "CR"}, LinkSettings(Ends("CR", "CR"))),
    ({"ends": "CRLF"}, LinkSettings(Ends("CRLF", "CRLF"))),
    ({"ends": "none"}, LinkSettings(Ends("none", "none"), pause_s=0.05)),
    ({"echo": "yes"}, LinkSettings(echo=True)),
    ({"acknowledge": "OK"}, LinkSettings(acknowledge=Acknowledge("OK"))),
    ({"echo": "yes", "acknowledge": "OK", "ends": "CR"},
     LinkSettings(Ends("CR", "CR"), echo=True, acknowledge=Acknowledge("OK"))),
]  # fmt: skip


@pytest.mark.parametrize(("vices", "settings"), CASES, ids=str)
def test_a_session_speaks_as_the_instrument_wants_it(vices: dict[str, str], settings: LinkSettings) -> None:
    with SerialLine(bench_with(**vices), "supply") as line:
        session = session_with(line, settings)
        assert session.open().startswith("benchctl,Dc supply")
        session.command("INST:NSEL 1")
        session.command("VOLT 14.4")
        assert session.ask_number("VOLT?") == pytest.approx(14.4)
        session.check_errors()
        session.close()


@pytest.mark.parametrize(("vices", "settings"), CASES, ids=str)
def test_so_does_the_guardian(vices: dict[str, str], settings: LinkSettings) -> None:
    with SerialLine(bench_with(**vices), "supply") as line:
        wire = GuardianWire(line.address, settings)
        wire.command_urgently("INST:NSEL 1")
        wire.command_urgently("OUTP ON")
        assert wire.ask_urgently("OUTP?") == "1"
        wire.command_urgently("OUTP OFF")
        assert wire.ask_urgently("OUTP?") == "0"
        wire.close()


@pytest.mark.parametrize(("vices", "settings"), CASES, ids=str)
def test_the_safe_state_gets_through_while_the_run_talks(vices: dict[str, str], settings: LinkSettings) -> None:
    with SerialLine(bench_with(**vices), "supply") as line:
        session = session_with(line, settings)
        session.open()
        session.command("INST:NSEL 1")
        session.command("OUTP ON")
        session.command_urgently("OUTP OFF")
        assert session.ask_urgently("OUTP?") == "0"
        session.close()


def test_each_message_is_sent_after_a_pause() -> None:
    """With no end to tell them apart, two messages in one piece would be one to the instrument."""
    with SerialLine(bench_with(ends="none"), "supply") as line:
        session = session_with(line, LinkSettings(Ends("none", "none"), pause_s=0.1))
        session.open()
        began = time.monotonic()
        for _ in range(3):
            session.command("INST:NSEL 1")
        assert time.monotonic() - began >= 0.2  # two pauses; that of the first had passed
        assert session.ask("OUTP?") == "0"
        assert line.heard[-4:] == [b"INST:NSEL 1"] * 3 + [b"OUTP?"]
        session.close()


def test_an_instrument_that_does_not_acknowledge_is_told_of_with_the_message() -> None:
    with SerialLine(bench_with(acknowledge="ERR 5"), "supply") as line:
        session = session_with(line, LinkSettings(acknowledge=Acknowledge("OK")))
        session.open()
        with pytest.raises(NotAcknowledged, match=r"supply.*'ERR 5' to INST:NSEL 1.*'OK'"):
            session.command("INST:NSEL 1")
        session.close()


def test_an_echo_that_is_not_what_was_sent_is_told_of() -> None:
    """The instrument does not echo, so its answer stands where the echo should."""
    with SerialLine(bench_with(), "supply") as line:
        session = session_with(line, LinkSettings(echo=True, timeout_s=0.5))
        with pytest.raises((GarbledAnswer, NoAnswer)):
            session.open()
        session.close()


def test_the_port_is_set_as_the_settings_say() -> None:
    with SerialLine(bench_with(), "supply") as line:
        link = open_link(line.address, LinkSettings(baud=19200, stop_bits=2, handshake="hardware"))
        _, _, cflag, _, ispeed, ospeed, _ = termios.tcgetattr(line._theirs)
        assert (ispeed, ospeed) == (termios.B19200, termios.B19200)
        assert cflag & termios.CSTOPB
        assert cflag & termios.CRTSCTS
        link.close()


def test_a_setting_that_the_port_refuses_is_told_in_words() -> None:
    """A pseudo-terminal of Linux has no parity."""
    with (
        SerialLine(bench_with(), "supply") as line,
        pytest.raises(NotConnected, match="9600 baud, 8 bits, parity even, 1 stop bit"),
    ):
        open_link(line.address, LinkSettings(parity="even"))


def test_a_port_that_is_not_there_says_what_to_look_at() -> None:
    with pytest.raises(NotConnected, match="serial port cannot be opened") as refused:
        open_link("ASRL/dev/ttyBENCH99::INSTR")
    assert "dialout" in str(refused.value.advice)
