"""Sockets: several clients, whole replies, clean ends, loopback only."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import closing

import pytest

from benchctl.errors import UsageError
from benchctl.simulator.bench import SimulatedBench
from tests.ports import free_port
from tests.simulator.benches import describe


@pytest.fixture
def bench() -> Iterator[SimulatedBench]:
    """Started on free ports; its time stays zero."""
    with SimulatedBench(describe(), lambda: 0.0) as bench:
        yield bench


def connect(address: tuple[str, int]) -> socket.socket:
    """A client that gives up after five seconds."""
    return socket.create_connection(address, timeout=5)


def send_for_ever(link: socket.socket) -> None:
    """Send questions and never read an answer."""
    while True:
        link.send(b"*IDN?\n" * 1000)


def ask(link: socket.socket, message: bytes) -> bytes:
    """One exchange."""
    link.sendall(message)
    return link.recv(1 << 20)


def test_every_role_has_a_port_of_its_own_on_loopback(bench: SimulatedBench) -> None:
    addresses = bench.start()
    assert list(addresses) == ["generator", "oscilloscope", "load", "supply", "thermometer"]
    assert {host for host, _ in addresses.values()} == {"127.0.0.1"}
    assert len({port for _, port in addresses.values()}) == 5


def test_asked_for_addresses_are_served(bench: SimulatedBench) -> None:
    port = free_port()
    assert bench.start({"supply": ("127.0.0.1", port)})["supply"] == ("127.0.0.1", port)


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.5", "example.org", ""])
def test_nothing_but_loopback_is_ever_served(bench: SimulatedBench, host: str) -> None:
    with pytest.raises(UsageError, match="loopback only"):
        bench.start({"supply": (host, 0)})


def test_a_taken_port_is_refused_in_words(bench: SimulatedBench) -> None:
    with closing(socket.socket()) as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        with pytest.raises(UsageError, match="cannot serve on 127"):
            bench.start({"supply": other.getsockname()})


def test_clients_share_settings_but_not_replies(bench: SimulatedBench) -> None:
    address = bench.start()["supply"]
    with closing(connect(address)) as one, closing(connect(address)) as other:
        one.sendall(b"VOLT 12.5\n")
        bench.settle()
        assert ask(other, b"VOLT?\n") == b"1.25000000E+01\n"
        one.sendall(b"*IDN?\n")
        assert ask(other, b"OUTP?\n") == b"0\n"
        assert one.recv(100).startswith(b"benchctl,")


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
@pytest.mark.parametrize("size", [1, 3, 1000])
def test_messages_may_come_in_pieces_of_any_size_with_either_end(bench: SimulatedBench, end: bytes, size: int) -> None:
    text = b"VOLT 3;VOLT?" + end + b"VOLT 4;:VOLT?" + end
    with closing(connect(bench.start()["supply"])) as link:
        for start in range(0, len(text), size):
            link.sendall(text[start : start + size])
        received = b""
        while received.count(b"\n") < 2:
            received += link.recv(100)
    assert received == b"3.00000000E+00\n4.00000000E+00\n"


def test_a_reply_leaves_in_one_piece(bench: SimulatedBench) -> None:
    """Some clients take one receive for the whole reply."""
    message = b";:".join([b"VOLT?"] * 200) + b"\n"
    with closing(connect(bench.start()["supply"])) as link:
        assert ask(link, message).count(b";") == 199


def test_a_client_that_vanishes_disturbs_nobody(bench: SimulatedBench) -> None:
    address = bench.start()["supply"]
    with closing(connect(address)) as rude:
        rude.sendall(b"VOLT 1;VOLT")
    reset = connect(address)
    reset.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\x00\x00\x00\x00\x00\x00\x00")
    reset.sendall(b"*IDN?\n")
    reset.close()
    with closing(connect(address)) as polite:
        assert ask(polite, b"*IDN?\n").startswith(b"benchctl,")


def test_a_client_that_never_reads_keeps_a_bounded_amount_waiting(bench: SimulatedBench) -> None:
    address = bench.start()["supply"]
    with closing(socket.socket()) as deaf:
        for buffer in (socket.SO_RCVBUF, socket.SO_SNDBUF):
            deaf.setsockopt(socket.SOL_SOCKET, buffer, 1 << 14)  # the system would buffer millions of bytes
        deaf.connect(address)
        deaf.setblocking(False)
        with pytest.raises(BlockingIOError):
            send_for_ever(deaf)
        with closing(connect(address)) as other:
            assert ask(other, b"*IDN?\n").startswith(b"benchctl,")


def test_settle_waits_until_a_command_has_taken_effect(bench: SimulatedBench) -> None:
    with closing(connect(bench.start()["load"])) as link:
        for relay in (101, 102, 103, 104):
            link.sendall(b"ROUT:CLOS (@%d)\n" % relay)
            bench.settle()
            assert relay in bench.physical_bench.connections.closed_relays


def test_close_ends_every_link_and_may_be_repeated(bench: SimulatedBench) -> None:
    link = connect(bench.start()["supply"])
    assert ask(link, b"*IDN?\n")
    bench.close()
    bench.close()
    assert link.recv(10) == b""
    link.close()


def test_a_bench_can_be_served_only_once_at_a_time(bench: SimulatedBench) -> None:
    bench.start()
    with pytest.raises(UsageError, match="already"):
        bench.start()
