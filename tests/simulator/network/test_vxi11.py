"""Simulated instruments over VXI-11, as pyvisa-py speaks it."""

from __future__ import annotations

import gc
import itertools
import socket
import struct
import threading
from collections.abc import Iterator

import numpy as np
import pytest
import pyvisa

from benchctl.clock import RealClock
from benchctl.errors import NoAnswer, NotConnected, OperatorStop
from benchctl.guard.guardian.wires import GuardianWire
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.session import Session
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.network.ports import Vxi11Place
from benchctl.simulator.network.rpc import Call, Reader, Records, packed
from tests.simulator.benches import describe

ROLES = ("generator", "oscilloscope", "load", "supply", "thermometer")


@pytest.fixture
def bench() -> Iterator[SimulatedBench]:
    with SimulatedBench(describe(), RealClock().now) as bench:
        bench.start(vxi11={role: Vxi11Place() for role in ROLES})
        yield bench


def address(bench: SimulatedBench, role: str, name: str = "inst0") -> str:
    place = bench.vxi11_places[role]
    return f"TCPIP::{place.host},{place.port}::{name}::INSTR"


def session_with(bench: SimulatedBench, role: str, interlock: Interlock | None = None, **more: float) -> Session:
    session = Session(role, address(bench, role), interlock or Interlock(RealClock()), **more)
    session.open()
    return session


@pytest.mark.parametrize("role", ROLES)
def test_every_instrument_says_who_it_is(bench: SimulatedBench, role: str) -> None:
    session = session_with(bench, role)
    assert session.identity.startswith("benchctl,")
    session.check_errors()
    session.close()


def test_settings_are_set_and_read_back(bench: SimulatedBench) -> None:
    session = session_with(bench, "supply")
    session.command("INST:NSEL 1")
    session.command("VOLT 14.4")
    assert session.ask_number("VOLT?") == pytest.approx(14.4)
    session.close()


def test_a_record_comes_whole_whatever_its_bytes_are(bench: SimulatedBench) -> None:
    session = session_with(bench, "oscilloscope")
    for command in ("TRIG:SWE AUTO", "ACQ:POIN 200000", "SING"):
        session.command(command)
    for _ in range(1000):
        if session.ask("ACQ:COMP?") == "1":
            break
    session.command("WAV:SOUR CHAN1")
    session.command("WAV:FORM WORD")
    data = session.ask_block("WAV:DATA?", 10.0)
    assert np.frombuffer(data, "<u2").size == 200_000
    assert session.ask("ACQ:COMP?") == "1"
    session.close()


def test_a_question_without_an_answer_ends_at_its_time_and_the_next_is_answered(bench: SimulatedBench) -> None:
    session = session_with(bench, "supply", timeout_s=0.3)
    with pytest.raises(NoAnswer, match=r"no answer to NONE\?"):
        session.ask("NONE?")
    assert session.ask("OUTP?") == "0"
    session.close()


def test_the_safe_state_gets_through_while_another_thread_waits_for_an_answer(bench: SimulatedBench) -> None:
    interlock = Interlock(RealClock())
    session = session_with(bench, "supply", interlock, timeout_s=30.0)
    session.command("INST:NSEL 1;:OUTP ON")
    ended = threading.Event()

    def ask() -> None:
        with pytest.raises(OperatorStop):
            session.ask("NONE?")
        ended.set()

    threading.Thread(target=ask, daemon=True).start()
    interlock.open(OperatorStop("stopped"))
    session.command_urgently("INST:NSEL 1;:OUTP OFF")
    assert session.ask_urgently("OUTP?") == "0"
    assert ended.wait(10.0)
    session.close()


def test_the_guardian_reaches_it(bench: SimulatedBench) -> None:
    wire = GuardianWire(address(bench, "supply"))
    wire.command_urgently("INST:NSEL 1;:OUTP ON")
    assert wire.ask_urgently("OUTP?") == "1"
    wire.close()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_an_instrument_of_another_name_is_not_there(bench: SimulatedBench) -> None:
    """pyvisa-py leaves the socket of such a link to the garbage collector."""
    with pytest.raises(NotConnected):
        Session("supply", address(bench, "supply", "inst7"), Interlock(RealClock())).open()
    gc.collect()


def test_a_serial_poll_and_a_device_clear_are_answered(bench: SimulatedBench) -> None:
    """IEEE 488.2 11.2: bit 4 of the status byte says that an answer waits."""
    resource = pyvisa.ResourceManager("@py").open_resource(address(bench, "supply"))
    resource.write("OUTP?")
    assert resource.read_stb() & 0x10
    resource.clear()
    assert not resource.read_stb() & 0x10
    resource.close()


def test_what_is_no_call_ends_the_connection(bench: SimulatedBench) -> None:
    place = bench.vxi11_places["supply"]
    with socket.create_connection((place.host, place.port), timeout=5.0) as link:
        link.sendall(b"OUTP ON\n" * 100)
        assert link.recv(100) == b""


# -- the records, against the words of the standard --------------------------------------------------------------


def test_a_record_may_come_in_fragments_and_pieces_of_any_size() -> None:
    """RFC 5531, 11: the highest bit of a fragment's header marks the last, the others are its length."""
    stream = struct.pack("!I", 3) + b"abc" + struct.pack("!I", 0x8000_0002) + b"de" + struct.pack("!I", 0x8000_0000)
    for size in range(1, len(stream) + 1):
        records = Records(100)
        found = []
        for at in range(0, len(stream), size):
            records.feed(stream[at : at + size])
            found += list(itertools.takewhile(lambda record: record is not None, iter(records.next_record, None)))
        assert found == [b"abcde", b""]


def test_bytes_are_filled_up_to_whole_words() -> None:
    """RFC 4506, 4.10: variable-length opaque data, with 0 to 3 bytes of zero behind."""
    assert packed(b"abcde") == b"\x00\x00\x00\x05abcde\x00\x00\x00"
    assert Reader(packed(b"abcde", 7)).opaque() == b"abcde"


def test_a_reply_names_its_call() -> None:
    """RFC 5531, 9: xid, REPLY, MSG_ACCEPTED, verifier AUTH_NONE, SUCCESS."""
    call = Call.parse(packed(42, 0, 2, 0x0607AF, 1, 0, 0, b"", 0, b""))
    assert (call.number, call.program, call.version, call.procedure) == (42, 0x0607AF, 1, 0)
    assert call.reply(packed(9)) == struct.pack("!8I", 0x8000_001C, 42, 1, 0, 0, 0, 0, 9)
