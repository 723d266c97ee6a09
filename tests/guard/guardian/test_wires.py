"""The guardian's wires: one link, one line, and nothing stale after a failure."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from benchctl.errors import ConnectionLost, InstrumentError, NoAnswer, NotConnected
from benchctl.guard.guardian import wires
from benchctl.guard.guardian.wires import GuardianWire, needs_pyvisa
from benchctl.instruments.links.transports import every_link as links
from tests.ports import free_port

Manner = Callable[[socket.socket], None]


class Peer:
    """Takes links one after the other and treats each as the next of `manners` says."""

    def __init__(self, *manners: Manner) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"TCPIP::127.0.0.1::{self._listener.getsockname()[1]}::SOCKET"
        self.may_close = threading.Event()
        self._thread = threading.Thread(target=self._serve, args=(manners,), daemon=True)
        self._thread.start()

    def close(self) -> None:
        self.may_close.set()
        self._thread.join()
        self._listener.close()

    def _serve(self, manners: tuple[Manner, ...]) -> None:
        kept = []
        for manner in manners:
            link, _ = self._listener.accept()
            kept.append(link)
            manner(link)
        self.may_close.wait()
        for link in kept:
            link.close()


def answering(*pieces: bytes) -> Manner:
    def answer(link: socket.socket) -> None:
        link.recv(100)
        for piece in pieces:
            link.sendall(piece)

    return answer


def closing(link: socket.socket) -> None:
    link.recv(100)
    link.close()


@pytest.fixture
def meet() -> Iterator[Callable[..., GuardianWire]]:
    """A wire to a peer with these manners."""
    made: list[tuple[Peer, GuardianWire]] = []

    def make(*manners: Manner) -> GuardianWire:
        peer = Peer(*manners)
        made.append((peer, GuardianWire(peer.address)))
        return made[-1][1]

    yield make
    for peer, wire in made:
        wire.close()
        peer.close()


@pytest.mark.parametrize("pieces", [(b"0\n",), (b"0", b"\n"), (b"0\r\n",), (b"  0 \n",)])
def test_an_answer_is_a_line_however_it_arrives(pieces: tuple[bytes, ...], meet: Callable[..., GuardianWire]) -> None:
    assert meet(answering(*pieces)).ask_urgently("OUTP?") == "0"


def test_a_peer_that_hangs_up_is_told_from_one_that_is_silent(meet: Callable[..., GuardianWire]) -> None:
    with pytest.raises(ConnectionLost):
        meet(closing).ask_urgently("OUTP?")


def test_a_silent_peer_is_waited_for_as_long_as_an_answer_may_take(
    meet: Callable[..., GuardianWire], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wires, "ANSWER_S", 0.05)
    with pytest.raises(NoAnswer):
        meet(answering()).ask_urgently("OUTP?")


def test_an_answer_without_end_is_none(meet: Callable[..., GuardianWire]) -> None:
    with pytest.raises(InstrumentError):
        meet(answering(b"0" * 9000)).ask_urgently("OUTP?")


def test_after_a_failure_the_next_question_goes_out_on_a_new_link_so_no_answer_is_stale(
    meet: Callable[..., GuardianWire], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wires, "ANSWER_S", 0.05)
    wire = meet(answering(b"1"), answering(b"0\n"))  # the first answer comes half
    with pytest.raises(NoAnswer):
        wire.ask_urgently("OUTP?")
    wire.answer_s = 30.0
    assert wire.ask_urgently("OUTP?") == "0"


def answering_and_closing(link: socket.socket) -> None:
    link.recv(100)
    link.sendall(b"0\n")
    link.close()


def test_a_link_that_the_peer_closes_after_an_answer_is_replaced_at_once(meet: Callable[..., GuardianWire]) -> None:
    wire = meet(answering_and_closing, answering_and_closing)
    assert wire.ask_urgently("OUTP?") == "0"
    assert wire.ask_urgently("MEAS:CURR?") == "0"


def test_an_answer_that_came_twice_does_not_answer_the_next_question(meet: Callable[..., GuardianWire]) -> None:
    again, sent = threading.Event(), threading.Event()

    def answering_twice(link: socket.socket) -> None:
        answering(b"0\n")(link)
        again.wait(30.0)
        link.sendall(b"0\n")
        sent.set()

    wire = meet(answering_twice, answering(b"1\n"))
    assert wire.ask_urgently("OUTP?") == "0"
    again.set()
    assert sent.wait(30.0)
    assert wire.ask_urgently("OUTP?") == "1"


def test_where_nobody_listens_the_address_is_named() -> None:
    port = free_port()
    with pytest.raises(NotConnected, match=str(port)):
        GuardianWire(f"TCPIP::127.0.0.1::{port}::SOCKET").command_urgently("OUTP OFF")


@pytest.mark.parametrize(
    ("address", "needed"),
    [
        ("TCPIP::192.0.2.7::5025::SOCKET", False),
        ("tcpip0::bench-supply.local::5025::socket", False),
        ("TCPIP::192.0.2.7::INSTR", True),
        ("TCPIP::192.0.2.7::hislip0::INSTR", True),
        ("USB0::0x1AB1::0x0E11::DP8A0001::INSTR", True),
        ("GPIB::7", True),
    ],
)
def test_only_a_raw_socket_can_do_without_pyvisa(address: str, needed: bool) -> None:
    assert needs_pyvisa(address) is needed


def test_any_other_address_is_reached_as_the_run_reaches_it(monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[bytes] = []

    class MessageLink:
        """A link that marks the end of a message itself."""

        marks_ends = True

        def send(self, data: bytes) -> None:
            sent.append(data)

        def receive(self, deadline: float, interrupt: Callable[[], None]) -> bytes:
            assert deadline > time.monotonic()
            interrupt()
            return b"OFF\n"

        def has_waiting(self) -> bool:
            return False

        def close(self) -> None:
            pass

    monkeypatch.setattr(links, "open_link", lambda address, settings: MessageLink())
    wire = GuardianWire("GPIB::7")
    wire.command_urgently("OUTP OFF")
    assert wire.ask_urgently("OUTP?") == "OFF"
    assert sent == [b"OUTP OFF\n", b"OUTP?\n"]
