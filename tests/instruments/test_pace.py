"""How long an instrument takes to answer, and that it is asked no faster than it may be."""

from __future__ import annotations

import pytest

from benchctl.clock import VirtualClock
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.pace import MeasuredPace
from benchctl.instruments.session import Session
from tests.instruments.scripted import Conversation, ScriptedPeer


def paced(*seconds: float) -> float:
    pace = MeasuredPace()
    for each in seconds:
        pace.note(each)
    return pace.question_s


def test_the_usual_time_is_the_median_so_one_late_answer_is_nothing() -> None:
    assert paced(0.3, 0.31, 5.0, 0.29, 0.3) == 0.3


def test_an_instrument_that_answers_within_milliseconds_is_not_slow() -> None:
    assert paced(0.001, 0.002, 0.019) == 0.0
    assert paced() == 0.0


def test_only_the_last_answers_count() -> None:
    assert paced(*[2.0] * 20, *[0.1] * 15) == pytest.approx(0.1)


def test_an_instrument_is_asked_no_sooner_than_its_driver_file_says() -> None:
    def answer(conversation: Conversation, text: str) -> None:
        if "?" in text:
            conversation.reply(b"1\n")

    clock = VirtualClock()
    with ScriptedPeer(answer) as peer, clock.take_part():
        session = Session("scanner", peer.address, Interlock(clock), sleep=clock.sleep, now=clock.now, ask_every_s=1.0)
        asked_s = []
        for _ in range(3):
            session.ask("READ?")
            asked_s.append(clock.now())
            session.command("ROUT 1")
        session.close()
    assert asked_s == [0.0, 1.0, 2.0], "and commands may come between"
