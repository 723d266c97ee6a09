"""HiSLIP over sockets: with pyvisa-py, with benchctl's sessions, and together with raw sockets."""

from __future__ import annotations

import gc
import logging
import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import numpy as np
import pytest
import pyvisa

from benchctl.clock import RealClock
from benchctl.documents.bench_file.faults import LateAnswer, LinkFault
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.errors import ConnectionLost, NoAnswer, NotConnected, UsageError
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.session import Session
from benchctl.scpi.hislip.messages import FatalErrorCode, MessageType
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.network.ports import HislipPlace
from tests.ports import free_port
from tests.simulator.benches import describe
from tests.simulator.talk import Room

ROLES = ("generator", "oscilloscope", "load", "supply", "thermometer")
EVERYWHERE = {role: HislipPlace() for role in ROLES}


def address(place: HislipPlace) -> str:
    return f"TCPIP::{place.host}::{place.name},{place.port}::INSTR"


@pytest.fixture
def room() -> Iterator[Room]:
    """Every role on its own HiSLIP port; the test sets the time."""
    room = Room()
    with room.bench:
        room.bench.start(hislip=EVERYWHERE)
        yield room


@pytest.fixture
def visa(room: Room) -> Iterator[Callable[[str], Any]]:
    """Opens a role as a pyvisa script does."""
    with ExitStack() as stack:

        def open_role(role: str) -> Any:
            resource = pyvisa.ResourceManager("@py").open_resource(
                address(room.bench.hislip_places[role]), timeout=5000
            )
            stack.callback(resource.close)
            return resource

        yield open_role


@pytest.fixture
def session(room: Room) -> Iterator[Callable[[str], Session]]:
    """Opens a role as a run does."""
    with ExitStack() as stack:

        def open_role(role: str) -> Session:
            place = room.bench.hislip_places[role]
            session = Session(role, address(place), Interlock(RealClock()), timeout_s=5.0)
            session.open()
            stack.callback(session.close)
            return session

        yield open_role


class TestPorts:
    """Where HiSLIP is served."""

    def test_instruments_may_share_a_port(self) -> None:
        port = free_port()
        places = {role: HislipPlace(port=port, name=f"hislip{n}") for n, role in enumerate(ROLES)}
        manager = pyvisa.ResourceManager("@py")
        with SimulatedBench(describe(), lambda: 0.0) as bench:
            bench.start(hislip=places)
            for role in ROLES:
                with manager.open_resource(address(places[role]), timeout=5000) as resource:
                    assert resource.query("*IDN?").strip() == str(bench.instruments[role].device.identity)

    def test_two_instruments_at_one_address_are_refused(self) -> None:
        places = {"supply": HislipPlace(port=1), "load": HislipPlace(port=1, name="HISLIP0")}
        with SimulatedBench(describe(), lambda: 0.0) as bench, pytest.raises(UsageError, match="same HiSLIP address"):
            bench.start(hislip=places)

    def test_nothing_but_loopback_is_ever_served(self) -> None:
        with SimulatedBench(describe(), lambda: 0.0) as bench, pytest.raises(UsageError, match="loopback only"):
            bench.start(hislip={"supply": HislipPlace("0.0.0.0")})

    def test_who_speaks_plain_scpi_is_told_and_let_go(self, room: Room) -> None:
        place = room.bench.hislip_places["supply"]
        with socket.create_connection((place.host, place.port), timeout=5) as link:
            link.sendall(b"*IDN?\n")
            reply = link.makefile("rb").read()
        assert reply[:4] == b"HS" + bytes([MessageType.FATAL_ERROR, FatalErrorCode.POORLY_FORMED_HEADER])


class TestPyvisa:
    """An independent client."""

    @pytest.mark.parametrize("role", ROLES)
    def test_every_instrument_answers(self, room: Room, visa: Callable[[str], Any], role: str) -> None:
        resource = visa(role)
        assert resource.query("*IDN?") == f"{room.bench.instruments[role].device.identity}\n"
        assert resource.query("SYST:ERR?") == '0,"No error"\n'

    def test_a_thousand_questions_leave_no_error(self, visa: Callable[[str], Any]) -> None:
        resource = visa("supply")
        assert {resource.query("*OPC?") for _ in range(1000)} == {"1\n"}
        assert resource.query("SYST:ERR?") == '0,"No error"\n'

    def test_the_status_byte_is_polled_on_the_other_channel(self, visa: Callable[[str], Any]) -> None:
        resource = visa("supply")
        resource.write("*CLS")
        resource.write("*IDN?")
        assert resource.read_stb() == 0x10
        resource.read()
        assert resource.read_stb() == 0
        resource.write("FOO")
        assert resource.read_stb() == 0x04

    def test_a_device_clear_brings_a_waiting_instrument_back(self, room: Room, visa: Callable[[str], Any]) -> None:
        oscilloscope = visa("oscilloscope")
        oscilloscope.write("SING")
        oscilloscope.write("*OPC?")  # no trigger comes, so there is no answer
        oscilloscope.clear()
        assert oscilloscope.query("*IDN?").startswith("benchctl,")

    def test_long_messages_go_in_pieces_both_ways(self, visa: Callable[[str], Any]) -> None:
        generator = visa("generator")
        generator.set_visa_attribute(pyvisa.constants.ResourceAttribute.tcpip_hislip_max_message_kb, 1)
        points = ",".join(["0.5"] * 100)
        generator.write(f"LIST:VOLT {points}" + " " * 5000)
        assert len(generator.query("LIST:VOLT?").split(",")) == 100
        assert generator.query("SYST:ERR?") == '0,"No error"\n'

    def test_a_client_that_goes_on_without_its_answer_is_told_in_the_error_queue(
        self, visa: Callable[[str], Any]
    ) -> None:
        supply = visa("supply")
        supply.write("*IDN?")
        supply.write("VOLT 12")
        assert supply.query("VOLT?") == "1.20000000E+01\n"
        assert supply.query("SYST:ERR?").startswith("-410,")

    def test_raw_sockets_and_hislip_reach_the_same_instrument(self, room: Room, visa: Callable[[str], Any]) -> None:
        visa("supply").write("VOLT 12.5")
        room.bench.settle()
        assert room.supply.ask("VOLT?") == "1.25000000E+01"


class TestSession:
    """What a run does, over HiSLIP."""

    def test_a_run_s_exchanges_work(self, room: Room, session: Callable[[str], Session]) -> None:
        supply, load, thermometer = session("supply"), session("load"), session("thermometer")
        for command in ("INST:NSEL 1;:VOLT 14.4;:CURR 110;:OUTP ON", "INST:NSEL 2;:VOLT 12;:CURR 0.5;:OUTP ON"):
            supply.command(command)
        load.command("ROUT:CLOS (@101,102)")
        for each in (supply, load, thermometer):
            each.check_errors()
        room.wait(2.0)
        assert supply.ask_number("INST:NSEL 1;:MEAS:VOLT?") == pytest.approx(14.4, abs=0.1)
        assert load.ask("ROUT:CLOS? (@101,102)") == "1,1"
        assert 15.0 < thermometer.ask_number("MEAS:TEMP? (@101)") < 40.0

    def test_a_record_is_the_same_as_over_a_raw_socket(self, room: Room, session: Callable[[str], Session]) -> None:
        room.power_on(101, 102)
        room.play(0.1)
        room.record(1, 0.5, span_s=0.01, samples=100_000)
        raw = room.volts(1)
        oscilloscope = session("oscilloscope")
        data = oscilloscope.ask_block("WAV:DATA?", 5.0)
        preamble = [float(field) for field in oscilloscope.ask("WAV:PRE?").split(",")]
        codes = np.frombuffer(data, "<u2").astype(np.float64)
        assert len(codes) == 100_000
        assert np.array_equal((codes - preamble[8] - preamble[9]) * preamble[7], raw)
        oscilloscope.check_errors()

    @pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
    def test_nobody_at_the_address_is_said_at_once(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(logging.getLogger("pyvisa"), "disabled", True)  # a log record would keep the socket alive
        port = free_port()
        with pytest.raises(NotConnected, match="nothing answers"):
            Session("supply", f"TCPIP::127.0.0.1::hislip0,{port}::INSTR", Interlock(RealClock())).open()
        gc.collect()

    @pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
    def test_a_name_that_nobody_has_there_is_no_connection(self, room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(logging.getLogger("pyvisa"), "disabled", True)  # a log record would keep the socket alive
        refuse_to_open(f"TCPIP::127.0.0.1::hislip9,{room.bench.hislip_places['supply'].port}::INSTR")
        gc.collect()  # pyvisa-py leaves the refused socket to the collector, which warns here and not later


def refuse_to_open(somewhere: str) -> None:
    with pytest.raises(NotConnected, match="cannot be opened"):
        Session("supply", somewhere, Interlock(RealClock())).open()


def on_supply(kind: Any, *, times: int = 1) -> LinkFault:
    """From the third exchange on: *IDN? and *ESR? go before."""
    return LinkFault(kind=kind, instrument="supply", exchange=3, times=times)


class TestFaults:
    """After a failure the link is not used any more; a new one is opened."""

    @pytest.fixture
    def talking(self) -> Iterator[Callable[..., Session]]:
        with ExitStack() as stack:

            def start(fault: LinkFault | LateAnswer) -> Session:
                simulation = BenchSimulation(seed=1, instrument_errors="none", faults=(fault,))
                bench = stack.enter_context(SimulatedBench(describe(bench=simulation), RealClock().now))
                bench.start(hislip={"supply": HislipPlace()})
                place = bench.hislip_places["supply"]
                session = Session("supply", address(place), Interlock(RealClock()), timeout_s=0.2)
                session.open()
                stack.callback(session.close)
                return session

            yield start

    @pytest.mark.parametrize("kind", ["no answer", "deaf", "connection dropped"])
    def test_one_failure_is_got_over(self, talking: Callable[..., Session], kind: str) -> None:
        assert talking(on_supply(kind)).ask_number("INST:NSEL 1;:VOLT?") == 0.0

    def test_an_instrument_that_stays_silent_is_named(self, talking: Callable[..., Session]) -> None:
        with pytest.raises(NoAnswer, match="supply at TCPIP"):
            talking(on_supply("deaf", times=99)).ask("OUTP?")

    def test_an_instrument_that_always_hangs_up_is_named(self, talking: Callable[..., Session]) -> None:
        with pytest.raises(ConnectionLost, match="supply at TCPIP"):
            talking(on_supply("connection dropped", times=99)).ask("OUTP?")

    def test_a_late_answer_never_answers_the_next_question(self, talking: Callable[..., Session]) -> None:
        session = talking(LateAnswer(kind="late answer", instrument="supply", exchange=3, by_s=0.3))
        assert session.ask("INST:NSEL?") == "1"
        assert session.ask("OUTP?") == "0"
