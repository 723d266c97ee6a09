"""When a guardian's wire keeps its link and when it takes another; and what its raw sockets do."""

from __future__ import annotations

import select
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from types import SimpleNamespace

import pytest

from benchctl.errors import ConnectionLost, InstrumentError, NoAnswer, NotConnected
from benchctl.guard.guardian import wires
from benchctl.guard.guardian.wires import GuardianWire, RawSocketLink
from benchctl.instruments.links.settings import Acknowledge, Ends, LinkSettings

ADDRESS = "TCPIP::127.0.0.1::5025::SOCKET"
DEADLINE_S = 30.0  # only ends the wait for a broken program


@dataclass
class ScriptedLink:
    """Gives these pieces one by one, or raises an error that stands among them; `log` is what was done, in order."""

    pieces: list[bytes | InstrumentError] = field(default_factory=list)
    log: list[str] = field(default_factory=list)
    refuses: InstrumentError | None = None
    has_gone: bool = False
    is_closed: bool = False
    marks_ends: bool = False

    def send(self, data: bytes) -> None:
        if self.refuses is not None:
            raise self.refuses
        self.log.append(data.decode("ascii").strip())

    def receive(self, deadline: float, _interrupt: Callable[[], None]) -> bytes:
        assert deadline > time.monotonic(), "no time is left to receive anything"
        self.log.append("receive")
        piece = self.pieces.pop(0)
        if isinstance(piece, InstrumentError):
            raise piece
        return piece

    def drain(self) -> None: ...

    def has_waiting(self) -> bool:
        if self.has_gone:
            raise ConnectionLost("the instrument closed the connection")
        return bool(self.pieces) and self.log[-1:] == ["more has come"]

    def close(self) -> None:
        self.is_closed = True

    def more_comes(self, piece: bytes) -> None:
        """Something arrives that nobody is just waiting for."""
        self.pieces.append(piece)
        self.log.append("more has come")


Opens = Callable[..., GuardianWire]


@pytest.fixture
def opens(monkeypatch: pytest.MonkeyPatch) -> Opens:
    """A wire that is given these links one after the other, or the errors among them."""

    def make(*given: ScriptedLink | InstrumentError, settings: LinkSettings = LinkSettings()) -> GuardianWire:  # noqa: B008
        left = list(given)

        def opened(_address: str, _settings: LinkSettings) -> ScriptedLink:
            link = left.pop(0)
            if isinstance(link, InstrumentError):
                raise link
            return link

        monkeypatch.setattr(wires, "_open", opened)
        return GuardianWire(ADDRESS, settings)

    return make


@pytest.mark.parametrize(("stated_s", "waited_s"), [(0.5, 2.0), (5.0, 5.0)])
def test_an_answer_is_waited_for_two_seconds_or_as_long_as_the_driver_file_says(
    stated_s: float, waited_s: float
) -> None:
    assert GuardianWire(ADDRESS, LinkSettings(timeout_s=stated_s)).answer_s == waited_s


def test_one_link_carries_one_message_after_the_other(opens: Opens) -> None:
    link = ScriptedLink([b"1\n", b"0\n"])
    wire = opens(link)
    assert [wire.ask_urgently("OUTP?"), wire.ask_urgently("OUTP?")] == ["1", "0"]


def test_what_acknowledges_a_command_is_no_answer_and_is_read_before_the_next_message(opens: Opens) -> None:
    link = ScriptedLink([b"OK\n", b"OK\n", b"0\n"])
    wire = opens(link, settings=LinkSettings(acknowledge=Acknowledge(commands="OK")))
    wire.command_urgently("VOLT 0")
    wire.command_urgently("OUTP OFF")
    assert wire.ask_urgently("OUTP?") == "0"
    assert link.log == ["VOLT 0", "receive", "OUTP OFF", "receive", "OUTP?", "receive"]


def test_what_comes_behind_an_answer_is_no_answer_and_costs_no_link(opens: Opens) -> None:
    link = ScriptedLink([b"1\n"])
    wire = opens(link, settings=LinkSettings(acknowledge=Acknowledge(questions="READY")))
    assert wire.ask_urgently("OUTP?") == "1"
    link.more_comes(b"READY\n")
    link.pieces.append(b"0\n")
    assert wire.ask_urgently("OUTP?") == "0"


def test_an_answer_too_many_in_the_same_piece_costs_the_link(opens: Opens) -> None:
    first, second = ScriptedLink([b"0\n0\n"]), ScriptedLink([b"1\n"])
    wire = opens(first, second)
    assert [wire.ask_urgently("OUTP?"), wire.ask_urgently("OUTP?")] == ["0", "1"]
    assert first.is_closed


def test_after_a_silence_the_next_question_goes_out_on_another_link(opens: Opens) -> None:
    silent, second = ScriptedLink([NoAnswer("no answer in time"), b"1\n"]), ScriptedLink([b"0\n"])
    wire = opens(silent, second)
    with pytest.raises(NoAnswer):
        wire.ask_urgently("OUTP?")
    assert silent.is_closed
    assert wire.ask_urgently("OUTP?") == "0"


def test_nothing_is_written_into_a_link_that_the_instrument_has_closed(opens: Opens) -> None:
    first, second = ScriptedLink([b"1\n"]), ScriptedLink()
    wire = opens(first, second)
    wire.ask_urgently("OUTP?")
    first.has_gone = True
    wire.command_urgently("OUTP OFF")
    assert (first.log, second.log) == (["OUTP?", "receive"], ["OUTP OFF"])


def test_a_link_that_stood_and_fails_is_replaced_at_once_and_the_message_sent_again(opens: Opens) -> None:
    first, second = ScriptedLink([b"1\n"]), ScriptedLink([b"0\n"])
    wire = opens(first, second)
    wire.ask_urgently("OUTP?")
    first.refuses = ConnectionLost("reset by peer")
    assert wire.ask_urgently("OUTP?") == "0"


def test_a_new_link_that_fails_is_a_failure(opens: Opens) -> None:
    wire = opens(ScriptedLink(refuses=ConnectionLost("reset by peer")), ScriptedLink())
    with pytest.raises(ConnectionLost):
        wire.command_urgently("OUTP OFF")


def test_an_instrument_that_is_not_yet_free_of_the_runs_link_is_tried_again_when_it_is(
    opens: Opens, monkeypatch: pytest.MonkeyPatch
) -> None:
    slept: list[float] = []
    monkeypatch.setattr(wires, "time", SimpleNamespace(sleep=slept.append, monotonic=time.monotonic))
    second = ScriptedLink()
    wire = opens(NotConnected("refused"), second, settings=LinkSettings(reopen_after_s=0.4))
    wire.command_urgently("OUTP OFF")
    assert (slept, second.log) == ([0.4], ["OUTP OFF"])


# -- raw sockets -------------------------------------------------------------------------------------------------


@pytest.fixture
def pair() -> Iterator[tuple[RawSocketLink, socket.socket]]:
    """A raw link and the instrument's end of it."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        link = RawSocketLink(*listener.getsockname())
        instrument, _ = listener.accept()
    yield link, instrument
    instrument.close()
    link.close()


def arrived(link: RawSocketLink) -> None:
    """Wait until something has come, or the other end has gone."""
    assert select.select([link._socket], [], [], DEADLINE_S)[0]


def reset(instrument: socket.socket) -> None:
    """Close it as a crash does."""
    instrument.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    instrument.close()


def nothing() -> None:
    """Nothing interrupts."""


def test_a_short_message_leaves_at_once(pair: tuple[RawSocketLink, socket.socket]) -> None:
    link, _ = pair
    assert link._socket.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def test_what_has_come_is_seen_and_stays_to_be_read(pair: tuple[RawSocketLink, socket.socket]) -> None:
    link, instrument = pair
    assert link.has_waiting() is False
    instrument.sendall(b"1")
    arrived(link)
    assert link.has_waiting() is True
    assert link.receive(time.monotonic() + DEADLINE_S, nothing) == b"1"


def test_looking_for_what_has_come_waits_for_nothing(
    pair: tuple[RawSocketLink, socket.socket], monkeypatch: pytest.MonkeyPatch
) -> None:
    waits: list[float] = []

    def looked(*places: object) -> tuple[list[object], list[object], list[object]]:
        waits.append(places[-1])  # type: ignore[arg-type]
        return [], [], []

    monkeypatch.setattr(wires, "select", SimpleNamespace(select=looked))
    pair[0].has_waiting()
    assert waits == [0.0]


@pytest.mark.parametrize("ends", [socket.socket.close, reset], ids=["closed", "reset"])
def test_an_instrument_that_has_gone_is_noticed_by_looking_and_by_reading(
    ends: Callable[[socket.socket], None], pair: tuple[RawSocketLink, socket.socket]
) -> None:
    link, instrument = pair
    ends(instrument)
    arrived(link)
    with pytest.raises(ConnectionLost):
        link.has_waiting()


def test_a_link_that_is_reset_is_told_in_words_when_read_and_when_written(
    pair: tuple[RawSocketLink, socket.socket],
) -> None:
    link, instrument = pair
    reset(instrument)
    arrived(link)
    with pytest.raises(ConnectionLost, match="reading"):
        link.receive(time.monotonic() + DEADLINE_S, nothing)
    with pytest.raises(ConnectionLost, match="sending"):
        link.send(b"OUTP OFF\n")


def test_an_answer_is_waited_for_until_its_deadline(pair: tuple[RawSocketLink, socket.socket]) -> None:
    link, instrument = pair
    instrument.sendall(b"1")
    link.receive(time.monotonic() + 1000.0, nothing)
    waits_s = link._socket.gettimeout()
    assert waits_s is not None
    assert 900.0 < waits_s <= 1000.0


def test_who_waits_can_be_interrupted(pair: tuple[RawSocketLink, socket.socket]) -> None:
    def interrupt() -> None:
        raise NoAnswer("interrupted")

    with pytest.raises(NoAnswer, match="interrupted"):
        pair[0].receive(time.monotonic() + DEADLINE_S, interrupt)


def test_messages_end_as_the_driver_file_says_on_a_raw_socket_too() -> None:
    heard: list[bytes] = []

    def answer(listener: socket.socket) -> None:
        link, _ = listener.accept()
        with link:
            heard.append(link.recv(100))
            link.sendall(b"0\r")

    with socket.create_server(("127.0.0.1", 0)) as listener:
        instrument = threading.Thread(target=answer, args=(listener,))
        instrument.start()
        port = listener.getsockname()[1]
        wire = GuardianWire(f"TCPIP::127.0.0.1::{port}::SOCKET", LinkSettings(ends=Ends("CR", "CR")))
        assert wire.ask_urgently("OUTP?") == "0"
        wire.close()
        instrument.join()
    assert heard == [b"OUTP?\r"]
