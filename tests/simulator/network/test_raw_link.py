"""Raw links as instruments have them: other ends of messages, echo, one client at a time."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import closing, contextmanager

import pytest

from benchctl.documents.bench_file.simulated_instruments import SupplySimulation
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.model.description import SupplyDescription, SupplyOutputDescription
from tests.simulator.benches import describe

DEADLINE_S = 30.0  # only ends the wait for a broken program
OUTPUTS = (SupplyOutputDescription("main", 1, 20.0, 120.0), SupplyOutputDescription("remote", 2, 20.0, 1.0))


class Clock:
    now_s = 0.0


@contextmanager
def served(**vices: object) -> Iterator[tuple[SimulatedBench, tuple[str, int], Clock]]:
    clock = Clock()
    supply = SupplyDescription(OUTPUTS, simulated=SupplySimulation.model_validate(vices))
    with SimulatedBench(describe(supply=supply), lambda: clock.now_s) as bench:
        yield bench, bench.start()["supply"], clock


def connect(address: tuple[str, int]) -> socket.socket:
    return socket.create_connection(address, timeout=DEADLINE_S)


def ask(link: socket.socket, message: bytes) -> bytes:
    link.sendall(message)
    return link.recv(1000)


@pytest.mark.parametrize(("ends", "end"), [("LF", b"\n"), ("CR", b"\r"), ("CRLF", b"\r\n"), ("none", b"")])
def test_messages_end_in_both_directions_as_the_instrument_has_it(ends: str, end: bytes) -> None:
    with served(ends=ends) as (_, address, _), connect(address) as link:
        assert ask(link, b"OUTP?" + end) == b"0" + end


def test_a_message_with_another_end_is_not_acted_on() -> None:
    with served(ends="CR") as (bench, address, _), connect(address) as link:
        link.sendall(b"INST:NSEL 1;:OUTP ON\n")
        bench.settle()
        assert not bench.physical_bench.connections.main_output.on


def test_an_echo_comes_before_the_answer() -> None:
    with served(echo="yes") as (bench, address, _), connect(address) as link:
        link.sendall(b"OUTP?\n")
        bench.settle()
        assert link.recv(1000) == b"OUTP?\n0\n"


def is_taken(link: socket.socket) -> bool:
    try:
        return ask(link, b"OUTP?\n") == b"0\n"
    except ConnectionError:
        return False


def takes_a_link(address: tuple[str, int]) -> bool:
    """Whether one more is taken; one that is refused may be reset before it is known to stand."""
    try:
        with closing(connect(address)) as link:
            return is_taken(link)
    except ConnectionError:
        return False


def test_an_instrument_with_one_link_closes_every_other() -> None:
    with served(clients="one") as (_, address, _), connect(address) as link:
        assert is_taken(link)
        assert not takes_a_link(address)
        assert is_taken(link)


def test_it_takes_the_next_link_only_some_time_after_the_last_has_gone() -> None:
    with served(clients="one", free_again_after=0.5) as (_, address, clock):
        with connect(address) as link:
            assert is_taken(link)
            link.shutdown(socket.SHUT_WR)
            assert link.recv(1) == b"", "the instrument has noticed that its client has gone"
        for now_s, is_free in ((0.49, False), (0.5, True)):
            clock.now_s = now_s
            assert takes_a_link(address) is is_free
