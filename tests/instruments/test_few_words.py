"""Sessions with instruments that cannot be asked all that others can: who they are, or whether they were off and on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from benchctl.clock import RealClock
from benchctl.errors import InstrumentReports, NoAnswer, SettingChanged, SettingsLost
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.questions import Question, Questions
from benchctl.instruments.links.settings import LinkSettings
from benchctl.instruments.session import Session
from tests.instruments.scripted import Answer, Conversation, ScriptedPeer

NOTHING = Questions(identify=(), power_cycled=None, errors=None, enables_errors="")


@contextmanager
def talking_to(answer: Answer, questions: Questions) -> Iterator[tuple[Session, ScriptedPeer]]:
    with ScriptedPeer(answer) as peer:
        session = Session("supply", peer.address, Interlock(RealClock()), questions=questions, timeout_s=0.5)
        session.open()
        try:
            yield session, peer
        finally:
            session.close()


def answering(text: str) -> Answer:
    def answer(conversation: Conversation, message: str) -> None:
        if message.endswith("?"):
            conversation.reply(text.encode() + b"\n")

    return answer


def hanging_up_once(text: str) -> Answer:
    hung_up: list[bool] = []

    def answer(conversation: Conversation, message: str) -> None:
        if not hung_up:
            hung_up.append(True)
            conversation.hang_up()
        elif message.endswith("?"):
            conversation.reply(text.encode() + b"\n")

    return answer


def test_an_instrument_that_can_be_asked_nothing_is_asked_nothing_of_itself() -> None:
    with talking_to(answering("1"), NOTHING) as (session, peer):
        assert session.identity == ""
        session.report_every_error()
        session.check_power()
        session.check_errors()
        assert session.ask("OUT?") == "1"
        assert peer.heard == ["OUT?"]


def test_who_it_is_may_be_any_text() -> None:
    questions = Questions(identify=("ID?",), power_cycled=None, errors=None)
    with talking_to(answering("PS-20"), questions) as (session, _):
        assert session.identity == "PS-20"


def test_an_error_that_is_only_told_is_asked_for_once() -> None:
    """It may go on saying so."""
    errors = Question(("ERR?",), lambda answer: (-300, "it does not say which") if answer == "1" else (0, ""))
    questions = Questions(identify=(), power_cycled=None, errors=errors, names_errors=False)
    with talking_to(answering("1"), questions) as (session, peer):
        with pytest.raises(InstrumentReports, match="it does not say which"):
            session.check_errors()
        assert peer.heard == ["ERR?"]


def asking(session: Session, outcome: Callable[[], bool]) -> list[str]:
    """What is asked after a lost link, and what comes of it."""
    asked: list[str] = []

    def verify() -> bool:
        asked.append(session.ask("VSET?"))
        return outcome()

    session.verify_with(verify)
    return asked


def test_after_a_lost_link_every_setting_is_asked_for_and_the_run_goes_on_if_all_are_kept() -> None:
    with talking_to(hanging_up_once("14.4"), NOTHING) as (session, peer):
        asked = asking(session, lambda: True)
        assert session.ask("VOUT?") == "14.4"
        assert asked == ["14.4"]
        assert peer.heard == ["VOUT?", "VSET?", "VOUT?"]
        session.ask("VOUT?")
        assert asked == ["14.4"]


def test_a_setting_that_has_changed_means_that_all_are_lost() -> None:
    def changed() -> bool:
        raise SettingChanged("voltage was set to 14.4 V and reads back as 0 V now")

    with talking_to(hanging_up_once("0"), NOTHING) as (session, peer):
        asking(session, changed)
        with pytest.raises(SettingsLost, match=r"link was lost.*voltage was set to 14.4 V and reads back as 0 V"):
            session.ask("VOUT?")
        with pytest.raises(SettingsLost):
            session.command("OUT1")
        assert "OUT1" not in peer.heard


def test_where_nothing_can_be_asked_a_lost_link_ends_the_run() -> None:
    with (
        talking_to(hanging_up_once("0"), NOTHING) as (session, _),
        pytest.raises(SettingsLost, match="can be asked nothing that tells"),
    ):
        session.ask("VOUT?")


def test_a_message_without_an_answer_is_named() -> None:
    with talking_to(lambda _c, _t: None, NOTHING) as (session, _):
        session.verify_with(lambda: True)
        with pytest.raises(NoAnswer, match=r"supply at TCPIP.*no answer to VOUT\?"):
            session.ask("VOUT?")


def test_a_link_that_sleeps_by_itself_is_kept_awake_by_a_harmless_question() -> None:
    with ScriptedPeer(answering("1")) as peer:
        settings = LinkSettings(keep_alive_s=1e-6)
        session = Session("supply", peer.address, Interlock(RealClock()), settings=settings)
        session.open()
        before = list(peer.heard)
        session.keep_awake()
        assert peer.heard == [*before, "*IDN?"]
        session.close()


def test_a_link_that_stays_awake_is_left_alone() -> None:
    with ScriptedPeer(answering("1")) as peer:
        session = Session("supply", peer.address, Interlock(RealClock()))
        session.open()
        before = list(peer.heard)
        session.keep_awake()
        assert peer.heard == before
        session.close()
