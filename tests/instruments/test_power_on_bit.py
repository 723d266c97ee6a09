"""An instrument says that it was switched on (IEEE 488.2, 11.5.1.1: bit 7 of the standard event status register). Once
it was met before, its settings are lost, and nothing of the run reaches it any more."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from benchctl.clock import RealClock
from benchctl.errors import GarbledAnswer, LinkError, SettingsLost
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.session import Session
from tests.instruments.scripted import Conversation, ScriptedPeer

POWER_ON = b"128"


@contextmanager
def met(*, hangs_up: bool = False, misses: int = 0) -> Iterator[tuple[Session, ScriptedPeer]]:
    """A session that has met its peer, which then hangs up once, or leaves so many questions without an answer."""
    hung_up, missed = [not hangs_up], [misses]

    def answer(conversation: Conversation, text: str) -> None:
        if not hung_up[0]:
            hung_up[0] = True
            conversation.hang_up()
        elif missed[0]:
            missed[0] -= 1
        elif "?" in text:
            conversation.reply(b"1\n")

    with ScriptedPeer(answer) as peer:
        session = Session("supply", peer.address, Interlock(RealClock()), timeout_s=0.5)
        session.open()
        try:
            yield session, peer
        finally:
            session.close()


def assert_lost(session: Session, peer: ScriptedPeer) -> None:
    """Nothing of the run goes out any more; the safe state does."""
    assert session.has_lost_settings
    with pytest.raises(SettingsLost, match=r"supply at TCPIP.* was switched off and on during the run"):
        session.command("OUTP ON")
    assert "OUTP ON" not in peer.heard
    assert session.ask_urgently("OUTP?") == "1"


def test_one_that_was_switched_on_before_it_was_met_has_lost_nothing() -> None:
    with ScriptedPeer(lambda conversation, _: conversation.reply(b"1\n")) as peer:
        peer.standard_events.append(POWER_ON)
        session = Session("supply", peer.address, Interlock(RealClock()), timeout_s=0.5)
        session.open()
        assert session.ask("OUTP?") == "1"
        session.close()


def test_one_whose_link_broke_and_that_says_so_has_lost_its_settings() -> None:
    with met(hangs_up=True) as (session, peer):
        peer.standard_events.append(POWER_ON)
        with pytest.raises(SettingsLost):
            session.ask("MEAS:VOLT?")
        assert peer.heard.count("MEAS:VOLT?") == 1
        assert_lost(session, peer)


def test_one_whose_link_broke_and_that_does_not_say_so_is_asked_again() -> None:
    with met(hangs_up=True) as (session, _):
        assert session.ask("MEAS:VOLT?") == "1"
        assert not session.has_lost_settings


def test_one_behind_a_gateway_whose_link_stands_is_found_out_at_the_next_lost_answer() -> None:
    with met(misses=1) as (session, peer):
        peer.standard_events.append(POWER_ON)
        with pytest.raises(SettingsLost):
            session.ask("MEAS:VOLT?")
        assert peer.connections == 1
        assert_lost(session, peer)


def test_one_behind_a_gateway_that_misses_nothing_is_found_out_when_it_is_asked() -> None:
    """As it is after every step."""
    with met() as (session, peer):
        session.check_power()
        peer.standard_events.append(POWER_ON)
        with pytest.raises(SettingsLost):
            session.check_power()
        assert_lost(session, peer)


@pytest.mark.parametrize("answer", [b"", b"12?", b"9.9E37"])
def test_one_that_came_back_and_cannot_be_told_from_one_that_lost_its_settings_has_lost_them(answer: bytes) -> None:
    """Asking clears what it tells, so nobody can ask for it again."""
    with met(hangs_up=True) as (session, peer):
        peer.standard_events.append(answer)
        with pytest.raises((LinkError, GarbledAnswer, SettingsLost)):
            session.ask("MEAS:VOLT?")
        assert_lost(session, peer)


def test_one_that_is_looked_for_past_the_interlock_says_whether_it_lost_its_power() -> None:
    with met() as (session, peer):
        session.look_for_power_cycle()
        assert not session.has_lost_settings
        peer.standard_events.append(POWER_ON)
        session.look_for_power_cycle()
        assert session.has_lost_settings
