"""An answer that is not what was asked for: its question is asked once more on a link that is in step, and no other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchctl.clock import RealClock
from benchctl.errors import GarbledAnswer, InstrumentError, SettingRefused
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.oscilloscope.record import Record
from benchctl.instruments.session import ASKED_AGAIN, Session
from tests.instruments.scripted import Conversation, ScriptedPeer
from tests.runner.rig import Rig, rig

Told = list[tuple[str, dict[str, object]]]


@contextmanager
def answering(*answers: bytes) -> Iterator[tuple[Session, ScriptedPeer, Told]]:
    """A session with a peer that gives these answers, one a question, and what is told of second attempts."""
    left = list(answers)

    def answer(conversation: Conversation, text: str) -> None:
        if "?" in text:
            conversation.reply(left.pop(0) + b"\n")

    with ScriptedPeer(answer) as peer:
        session = Session("supply", peer.address, Interlock(RealClock()), timeout_s=5.0)
        session.open()
        told: Told = []
        session.report_to(lambda event, **fields: told.append((event, fields)))
        try:
            yield session, peer, told
        finally:
            session.close()


@pytest.mark.parametrize("garbled", [b"", b"volts", b"1.44E", b"14.4 V", b"14.4,14.4", b"\xff\xfe"])
def test_a_number_that_comes_garbled_is_asked_for_once_more(garbled: bytes) -> None:
    """Behind a new look at who is there, so that no half of another answer is taken for this one."""
    with answering(garbled, b"14.4") as (session, peer, _):
        assert session.ask_number("MEAS:VOLT?") == 14.4
        first, second = (n for n, text in enumerate(peer.heard) if text == "MEAS:VOLT?")
        assert "*IDN?" in peer.heard[first:second]


def test_the_second_attempt_is_told_before_it_is_made() -> None:
    heard: list[list[str]] = []
    with answering(b"volts", b"14.4") as (session, peer, _):
        session.report_to(lambda _event, **_fields: heard.append(list(peer.heard)))
        session.ask_number("MEAS:VOLT?")
        assert [before.count("MEAS:VOLT?") for before in heard] == [1]


def test_what_is_told_names_the_instrument_the_question_and_the_answer() -> None:
    with answering(b"volts", b"14.4") as (session, _, told):
        session.ask_number("MEAS:VOLT?")
        reason = "answers 'volts' to MEAS:VOLT?"
        assert told == [(ASKED_AGAIN, {"instrument": "supply", "message": "MEAS:VOLT?", "reason": reason})]


def test_a_second_garbled_answer_in_a_row_is_an_error() -> None:
    with answering(b"volts", b"amperes") as (session, peer, _):
        with pytest.raises(GarbledAnswer, match=r"supply at TCPIP.* answers 'amperes' to MEAS:VOLT\?"):
            session.ask_number("MEAS:VOLT?")
        assert peer.heard.count("MEAS:VOLT?") == 2


@pytest.mark.parametrize("answer", [b"9.91E37", b"9.9E37"])
def test_a_number_that_means_no_reading_is_an_answer_and_is_not_asked_for_again(answer: bytes) -> None:
    """SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5: an open sensor, a range that is passed."""
    with answering(answer) as (session, peer, told):
        with pytest.raises(GarbledAnswer, match="over range"):
            session.ask_number("MEAS:TEMP?")
        assert peer.heard.count("MEAS:TEMP?") == 1
        assert told == []


def test_an_error_queue_whose_entry_comes_garbled_is_not_asked_for_it_again() -> None:
    """SCPI-99 volume 2, 21.8: asking takes the entry out, so a second answer would be another entry's."""
    with answering(b"?!", b'0,"No error"') as (session, peer, _):
        with pytest.raises(GarbledAnswer, match="SYST:ERR"):
            session.check_errors()
        assert peer.heard.count("SYST:ERR?") == 1


def test_a_block_that_comes_garbled_is_not_fetched_again() -> None:
    with answering(b"ERROR", b"#15hello") as (session, peer, _):
        with pytest.raises(GarbledAnswer, match="block"):
            session.ask_block("DATA?", 5.0)
        assert peer.heard.count("DATA?") == 1


def test_the_safe_state_asks_without_telling_a_journal_that_may_be_gone() -> None:
    """A disk that is full must not come between an instrument and its confirmation."""

    def gone(_event: str, **_fields: object) -> None:
        raise OSError("the disk is full")

    def hang_up_once(conversation: Conversation, _text: str) -> None:
        if hung_up:
            conversation.reply(b"0\n")
        else:
            hung_up.append(True)
            conversation.hang_up()

    hung_up: list[bool] = []
    with ScriptedPeer(hang_up_once) as peer:
        session = Session("supply", peer.address, Interlock(RealClock()), timeout_s=5.0)
        session.open()
        session.report_to(gone)
        assert session.ask_urgently("OUTP?") == "0"
        session.close()


# -- in their roles --------------------------------------------------------------------------------------------


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    with rig(tmp_path) as found:
        found.begin()
        found.taps.sent.clear()
        yield found


def forge(bench: Rig, role: str, question: str, *answers: str) -> None:
    """These answers in turn, the last one for good."""
    left = list(answers)
    bench.taps.forge(role, question, lambda: (left.pop(0) if len(left) > 1 else left[0]).encode() + b"\n")


def asked(bench: Rig, role: str, question: str) -> Sequence[str]:
    return [text for text in bench.taps.to(role) if question in text]


def test_a_setting_that_reads_back_cut_short_is_read_back_again_and_not_set_again(bench: Rig) -> None:
    forge(bench, "generator", "SOUR:VOLT?", "0.", "0.5")
    bench.run.bench.generator.set_level(0.5)
    assert len(asked(bench, "generator", "SOUR:VOLT?")) == 2
    assert len(asked(bench, "generator", "SOUR:VOLT 0.5")) == 1
    (told,) = bench.events(ASKED_AGAIN)
    assert told["reason"] == "was set to 0.5 V rms and reads back as 0 V rms"


def test_a_setting_that_reads_back_otherwise_twice_is_refused(bench: Rig) -> None:
    forge(bench, "generator", "SOUR:VOLT?", "0.25", "0.26")
    with pytest.raises(SettingRefused, match=r"was set to 0.5 V rms and reads back as 0.26 V rms"):
        bench.run.bench.generator.set_level(0.5)


@pytest.mark.parametrize("nonsense", ["", "perhaps", "14.4", "1,1"])
def test_a_supply_that_answers_nonsense_is_not_taken_to_have_switched_on(bench: Rig, nonsense: str) -> None:
    forge(bench, "supply", "OUTP?", nonsense)
    with pytest.raises(GarbledAnswer, match="OUTP"):
        bench.run.bench.supply.output_on("main")
    assert len(asked(bench, "supply", "OUTP ON")) == 1


def test_an_oscilloscope_that_answers_nonsense_is_not_taken_to_have_finished(bench: Rig) -> None:
    forge(bench, "oscilloscope", "ACQ:COMP?", "yes")
    with pytest.raises(GarbledAnswer, match="ACQ:COMP"):
        bench.run.bench.oscilloscope.capture("idle", ["output A"], _record(), {"output A": 0.1})


def test_a_preamble_that_is_cut_short_is_asked_for_again(bench: Rig) -> None:
    def be_whole_from_the_second_on(role: str, text: str) -> None:
        if text == "WAV:PRE?" and len(asked(bench, role, text)) == 2:
            bench.taps.forged.clear()

    forge(bench, "oscilloscope", "WAV:PRE?", "0,2,1000,1,0.0")
    bench.taps.on_send.append(be_whole_from_the_second_on)
    bench.run.bench.oscilloscope.capture("idle", ["output A"], _record(), {"output A": 0.1})
    assert len(bench.events(ASKED_AGAIN)) == 1


def _record() -> Record:
    return Record(0.02, 0.0, 1000, triggered=False)


@pytest.mark.parametrize("nonsense", ["", "1", "1,1,0,x"])
def test_a_relay_bank_that_answers_nonsense_is_not_taken_to_have_closed(bench: Rig, nonsense: str) -> None:
    forge(bench, "load", "ROUT:CLOS?", nonsense)
    with pytest.raises(InstrumentError, match="ROUT:CLOS"):
        bench.run.bench.load.connect(4.0)
