"""What a session promises, held against a peer that misbehaves in every way that instruments do."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest

from benchctl.clock import RealClock
from benchctl.errors import (
    ConnectionLost,
    GarbledAnswer,
    InstrumentReports,
    NoAnswer,
    NotConnected,
    OperatorStop,
)
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.session import Session
from tests.instruments.scripted import IDENTITY, Answer, Conversation, ScriptedPeer


def interlock() -> Interlock:
    return Interlock(RealClock())


@contextmanager
def talking_to(
    answer: Answer, lock: Interlock | None = None, timeout_s: float = 0.3
) -> Iterator[tuple[Session, ScriptedPeer]]:
    with ScriptedPeer(answer) as peer:
        session = Session("supply", peer.address, lock or interlock(), timeout_s=timeout_s)
        session.open()
        try:
            yield session, peer
        finally:
            session.close()


def echo(conversation: Conversation, text: str) -> None:
    if text.endswith("?"):
        conversation.reply(text.encode() + b"\n")


def test_opening_asks_who_is_there() -> None:
    with talking_to(echo) as (session, _):
        assert session.identity == IDENTITY


def test_an_answer_is_returned_without_its_terminator() -> None:
    with talking_to(lambda c, _: c.reply(b"1.234\r\n")) as (session, _):
        assert session.ask("MEAS:VOLT?") == "1.234"


def test_an_answer_in_pieces_is_put_together() -> None:
    def in_pieces(conversation: Conversation, _: str) -> None:
        for byte in b"1.2345E+01\n":
            conversation.reply(bytes([byte]))

    with talking_to(in_pieces) as (session, _):
        assert session.ask_number("MEAS:VOLT?") == 12.345


def test_two_threads_never_get_each_others_answers() -> None:
    wrong: list[str] = []

    def ask_many(session: Session, name: str) -> None:
        wrong.extend(answer for n in range(200) if (answer := session.ask(f"{name}{n}?")) != f"{name}{n}?")

    with talking_to(echo, timeout_s=5.0) as (session, _):
        threads = [threading.Thread(target=ask_many, args=(session, name)) for name in ("A", "B")]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert wrong == []


def test_nobody_at_the_address_is_said_at_once_with_advice() -> None:
    with ScriptedPeer(echo) as peer:
        address = peer.address
    with pytest.raises(NotConnected, match=r"supply at .*nothing answers on 127") as caught:
        Session("supply", address, interlock()).open()
    assert "bench file" in caught.value.advice


def test_a_silent_instrument_is_asked_once_more_and_then_named() -> None:
    with talking_to(lambda _c, _t: None) as (session, peer):
        with pytest.raises(NoAnswer, match=r"supply at TCPIP::127"):
            session.ask("MEAS:VOLT?")
        assert peer.heard.count("MEAS:VOLT?") == 2


def test_a_late_answer_never_answers_the_next_question() -> None:
    """The answer comes after the timeout and after the link was cleared, just before that of the next question."""
    with talking_to(lambda c, t: c.reply(t.encode() + b"\n") if t != "SLOW?" else None) as (session, peer):
        with pytest.raises(NoAnswer):
            session.ask("SLOW?")
        peer.overdue += [b"late\n", b"later\n"]
        assert session.ask("NEXT?") == "NEXT?"


def test_an_answer_given_twice_does_not_shift_the_later_ones() -> None:
    def twice(conversation: Conversation, text: str) -> None:
        conversation.reply((text.encode() + b"\n") * 2)

    with talking_to(twice) as (session, _):
        assert [session.ask(f"Q{n}?") for n in range(3)] == ["Q0?", "Q1?", "Q2?"]


def test_a_peer_that_hangs_up_is_noticed_and_connected_again() -> None:
    hung_up: list[bool] = []

    def hang_up_once(conversation: Conversation, text: str) -> None:
        if not hung_up:
            hung_up.append(True)
            conversation.hang_up()
        else:
            conversation.reply(b"5\n")

    with talking_to(hang_up_once) as (session, peer):
        assert session.ask_number("MEAS:VOLT?") == 5.0
        assert hung_up == [True]
        assert peer.connections >= 2


@pytest.mark.parametrize("way", ["hang_up", "reset"])
def test_a_peer_that_always_goes_away_is_an_error_with_its_name(way: str) -> None:
    with (
        talking_to(lambda c, _: getattr(c, way)()) as (session, _),
        pytest.raises(ConnectionLost, match="supply at TCPIP"),
    ):
        session.ask("MEAS:VOLT?")


@pytest.mark.parametrize("answer", ["", "volts", "1,2", "12 V", "--1", "1e", "0x10"])
def test_what_is_no_number_is_garbled_not_guessed(answer: str) -> None:
    with (
        talking_to(lambda c, _: c.reply(answer.encode() + b"\n")) as (session, _),
        pytest.raises(GarbledAnswer, match="MEAS:VOLT"),
    ):
        session.ask_number("MEAS:VOLT?")


@pytest.mark.parametrize("answer", ["9.91E37", "9.9E37", "-9.9E37", "NAN"])
def test_the_numbers_that_mean_no_reading_are_no_readings(answer: str) -> None:
    """SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5."""
    with (
        talking_to(lambda c, _: c.reply(answer.encode() + b"\n")) as (session, _),
        pytest.raises(GarbledAnswer, match="over range"),
    ):
        session.ask_number("MEAS:TEMP?")


def test_bytes_that_are_no_text_are_garbled() -> None:
    with talking_to(lambda c, _: c.reply(b"\xff\xfe\n")) as (session, _), pytest.raises(GarbledAnswer):
        session.ask("MEAS:VOLT?")


def test_a_block_may_hold_any_byte_and_the_next_answer_is_in_step() -> None:
    data = bytes(range(256)) * 40

    def block(conversation: Conversation, text: str) -> None:
        conversation.reply(b"#510240" + data + b"\n" if text == "DATA?" else b"7\n")

    with talking_to(block) as (session, _):
        assert session.ask_block("DATA?", 1.0) == data
        assert session.ask_number("NEXT?") == 7.0


def test_a_block_that_breaks_off_is_lost_contact_not_data() -> None:
    def broken(conversation: Conversation, _: str) -> None:
        conversation.reply(b"#41000" + b"x" * 500)
        conversation.hang_up()

    with talking_to(broken) as (session, _), pytest.raises(ConnectionLost):
        session.ask_block("DATA?", 1.0)


def test_text_where_a_block_is_due_is_garbled() -> None:
    with talking_to(lambda c, _: c.reply(b"ERROR\n")) as (session, _), pytest.raises(GarbledAnswer, match="block"):
        session.ask_block("DATA?", 1.0)


def test_the_error_queue_is_emptied_and_its_first_error_raised() -> None:
    queue = [b'-222,"Data out of range"\n', b'-113,"Undefined header"\n']

    def errors(conversation: Conversation, text: str) -> None:
        if text == "SYST:ERR?":
            conversation.reply(queue.pop(0) if queue else b'0,"No error"\n')

    with talking_to(errors) as (session, _):
        with pytest.raises(InstrumentReports, match="Data out of range") as caught:
            session.check_errors()
        assert caught.value.code == -222
        assert queue == []
        session.check_errors()


def test_an_error_text_can_neither_steer_a_terminal_nor_fill_it() -> None:
    """ESC [ 2 J clears the screen (ECMA-48, 8.3.39); SCPI-99, 21.8.2 allows 255 characters."""
    queue = [b'-113,"\x1b[2J' + b"x" * 1000 + b'"\n']

    def errors(conversation: Conversation, text: str) -> None:
        if text == "SYST:ERR?":
            conversation.reply(queue.pop(0) if queue else b'0,"No error"\n')

    with talking_to(errors) as (session, _), pytest.raises(InstrumentReports) as caught:
        session.check_errors()
    assert caught.value.text.startswith("\\x1b[2Jxxx")
    assert len(caught.value.text) == 255
    assert str(caught.value).isprintable()


def test_nothing_is_written_once_the_interlock_is_open() -> None:
    lock = interlock()
    with talking_to(echo, lock) as (session, peer):
        lock.open(OperatorStop("stopped"))
        with pytest.raises(OperatorStop):
            session.command("OUTP ON")
        assert "OUTP ON" not in peer.heard


def test_the_safe_state_passes_a_read_that_another_thread_waits_in() -> None:
    """The urgent write reaches the peer before the blocked question has its answer."""
    arrived = threading.Event()
    waiting = threading.Event()

    def slow(conversation: Conversation, text: str) -> None:
        if text == "SLOW?":
            waiting.set()
        elif text == "OUTP OFF":
            arrived.set()

    lock = interlock()
    with talking_to(slow, lock, timeout_s=30.0) as (session, _):
        stopped: list[type[BaseException]] = []

        def ask() -> None:
            try:
                session.ask("SLOW?")
            except OperatorStop:
                stopped.append(OperatorStop)

        thread = threading.Thread(target=ask)
        thread.start()
        assert waiting.wait(10.0)
        lock.open(OperatorStop("stopped"))
        session.command_urgently("OUTP OFF")
        assert arrived.wait(10.0)
        thread.join(10.0)
        assert stopped == [OperatorStop]


def test_the_safe_state_opens_a_new_link_where_the_old_one_is_dead() -> None:
    dead: list[bool] = []

    def dies_once(conversation: Conversation, text: str) -> None:
        if not dead:
            dead.append(True)
            conversation.reset()
        elif text == "OUTP?":
            conversation.reply(b"0\n")

    lock = interlock()
    with talking_to(dies_once, lock) as (session, peer):
        session.command("BREAK")
        lock.open(OperatorStop("stopped"))
        for _ in range(2):  # the first write into a closed socket is accepted by the system and lost
            session.command_urgently("OUTP OFF")
            assert session.ask_urgently("OUTP?") == "0"
        assert "OUTP OFF" in peer.heard


def test_a_command_with_a_newline_cannot_be_smuggled_in() -> None:
    with talking_to(echo) as (session, peer), pytest.raises(ValueError, match="one line"):
        session.command("OUTP OFF\nOUTP ON")
    assert "OUTP ON" not in peer.heard


def test_a_command_is_known_to_have_arrived_once_a_later_question_is_answered() -> None:
    with talking_to(echo) as (session, _):
        assert session.is_settled
        session.command("OUTP ON")
        assert not session.is_settled
        session.ask("OUTP?")
        assert session.is_settled


def test_an_instrument_that_knows_no_preset_of_its_status_is_not_blamed_for_that() -> None:
    queue: list[bytes] = []

    def complain(conversation: Conversation, text: str) -> None:
        if text == "SYST:ERR?":
            conversation.reply(queue.pop() if queue else b'0,"No error"\n')
        else:
            queue.append(b'-113,"Undefined header"\n')

    with talking_to(complain) as (session, peer):
        session.report_every_error()
        session.check_errors()
    assert "STAT:PRES" in peer.heard


def test_an_instrument_that_takes_one_client_is_connected_to_once_and_again_only_when_the_first_link_is_closed() -> (
    None
):
    """Many do; whoever connects beside a link that stands is not heard, or refused."""
    lost: list[str] = []

    def loses_one(conversation: Conversation, text: str) -> None:
        if lost:
            conversation.reply(b"7\n")
        lost.append(text)
        if len(lost) == 1:
            conversation.hang_up()

    with ScriptedPeer(loses_one, clients=1) as peer:
        session = Session("supply", peer.address, interlock(), timeout_s=5.0)
        session.open()
        assert peer.connections == 1
        assert session.ask_number("MEAS:VOLT?") == 7.0
        assert peer.connections == 2
        session.close()


def test_once_it_is_left_to_the_guardian_no_link_is_opened_any_more() -> None:
    with talking_to(echo) as (session, peer):
        session.leave()
        for attempt in (session.ask, session.ask_urgently, session.command_urgently):
            with pytest.raises(ConnectionLost, match="left to the guardian"):
                attempt("OUTP?")
        assert peer.connections == 1
        assert "OUTP?" not in peer.heard


def test_what_is_left_to_the_guardian_is_met_again_by_whoever_looks_for_a_power_cycle() -> None:
    with talking_to(echo) as (session, _):
        session.leave()
        session.look_for_power_cycle()
        assert session.ask_urgently("OUTP?") == "OUTP?"


def test_a_confirmation_is_never_an_answer_to_an_earlier_question() -> None:
    """The answer of the run's last question comes late, just as the safe state asks: it is asked over a new link."""
    late: list[Conversation] = []

    def answer(conversation: Conversation, text: str) -> None:
        if text == "SLOW?":
            late.append(conversation)
            return
        with suppress(OSError):  # the link that it came on is closed by now
            late[0].reply(b"0\n")
        conversation.reply(b"1\n")

    lock = interlock()
    with talking_to(answer, lock) as (session, _):
        with pytest.raises(NoAnswer):
            session.ask("SLOW?")
        assert session.ask_urgently("OUTP?") == "1"


def test_the_safe_state_is_not_written_into_a_link_that_the_peer_has_closed() -> None:
    """The system takes the first write into one, and nobody hears it."""
    gone = threading.Event()

    def hang_up_once(conversation: Conversation, text: str) -> None:
        if text == "BREAK":
            conversation.hang_up()
            gone.set()
        elif text == "OUTP?":
            conversation.reply(b"0\n")

    with talking_to(hang_up_once) as (session, peer):
        session.command("BREAK")
        assert gone.wait(10.0)
        session.command_urgently("OUTP OFF")
        assert session.ask_urgently("OUTP?") == "0"
        assert peer.heard[-2:] == ["OUTP OFF", "OUTP?"]


@pytest.mark.parametrize("answer", [b"", b"1", b"1.2;"])
def test_an_answer_that_never_ends_is_asked_for_twice_and_no_more(answer: bytes) -> None:
    with talking_to(lambda conversation, _: conversation.reply(answer)) as (session, peer):
        with pytest.raises(NoAnswer):
            session.ask("MEAS:VOLT?")
        assert peer.heard.count("MEAS:VOLT?") == 2
        assert peer.connections <= 2
