"""Answers from a recording, by question and by what was commanded before, whoever asks in between."""

from __future__ import annotations

import time

import pytest

from benchctl.errors import ConnectionLost, NoAnswer
from benchctl.instruments.links.recordings.replay import RecordedTraffic, Replay
from benchctl.instruments.links.recordings.traffic import Exchange
from benchctl.instruments.links.settings import LinkSettings


def exchange(sent: str, got: str = "", who: str = "run") -> Exchange:
    return Exchange(0.0, "supply", who, sent, got.encode())


RECORDED = [
    exchange("OUTP?", "0"),
    exchange("MEAS:VOLT?", "0.01", "guard"),
    exchange("VOLT 14.4"),
    exchange("OUTP ON"),
    exchange("OUTP?", "1"),
    exchange("MEAS:VOLT?", "14.1", "guard"),
    exchange("MEAS:VOLT?", "14.2"),
    exchange("MEAS:VOLT?", "14.3", "guard"),
    exchange("MEAS:VOLT?", "14.4"),
    exchange("OUTP OFF"),
    exchange("OUTP?", "0"),
]


def answers(instrument: RecordedTraffic, *messages: str, who: str = "run") -> list[str | None]:
    found = [instrument.answer("supply", message, who) for message in messages]
    return [None if each is None else each.got.decode() for each in found]


def test_a_question_is_answered_as_it_was_after_the_same_commands() -> None:
    instrument = RecordedTraffic(RECORDED)
    assert answers(instrument, "OUTP?", "OUTP?", "OUTP?") == ["0", "0", "0"]
    instrument.answer("supply", "VOLT 14.4", "run")
    instrument.answer("supply", "OUTP ON", "run")
    assert answers(instrument, "OUTP?", "OUTP?") == ["1", "1"]
    instrument.answer("supply", "OUTP OFF", "run")
    assert answers(instrument, "OUTP?") == ["0"]


def test_guard_and_run_each_get_their_own_answers_in_order_however_they_interleave() -> None:
    instrument = RecordedTraffic(RECORDED)
    for command in ("VOLT 14.4", "OUTP ON"):
        instrument.answer("supply", command, "run")
    assert answers(instrument, "MEAS:VOLT?", "MEAS:VOLT?", "MEAS:VOLT?") == ["14.2", "14.4", "14.4"]
    assert answers(instrument, "MEAS:VOLT?", "MEAS:VOLT?", who="guard") == ["14.1", "14.3"]


def test_what_only_the_other_side_has_asked_is_answered_to_both() -> None:
    assert answers(RecordedTraffic(RECORDED), "OUTP?", who="guard") == ["0"]


def test_a_question_not_asked_at_this_place_is_answered_as_before_it_or_else_as_behind() -> None:
    instrument = RecordedTraffic(RECORDED[:1] + RECORDED[2:])
    assert answers(instrument, "MEAS:VOLT?") == ["14.2"]
    instrument.answer("supply", "VOLT 14.4", "run")
    assert answers(instrument, "OUTP?") == ["0"]


def test_the_answer_to_the_other_side_counts_more_than_one_from_beyond_a_command() -> None:
    """The guard asks where it did not ask then: what the run was answered since is of the settings of now."""
    instrument = RecordedTraffic(RECORDED)
    assert answers(instrument, "MEAS:VOLT?") == ["0.01"]
    for command in ("VOLT 14.4", "OUTP ON", "OUTP OFF"):
        instrument.answer("supply", command, "run")
    assert answers(instrument, "OUTP?", who="guard") == ["0"]


def test_a_command_that_was_never_given_changes_nothing() -> None:
    instrument = RecordedTraffic(RECORDED)
    instrument.answer("supply", "VOLT 99", "run")
    assert answers(instrument, "OUTP?") == ["0"]


def test_a_question_that_was_never_asked_gets_no_answer() -> None:
    replay = Replay(RECORDED, {"here": "supply"}, {})
    link = replay.open_link("here", LinkSettings())
    link.send(b"SYST:VERS?\n")
    with pytest.raises(NoAnswer):
        link.receive(time.monotonic(), lambda: None)


def test_a_link_that_was_lost_is_lost_again() -> None:
    lost = Exchange(
        0.0, "supply", "run", "MEAS:VOLT?", b"", 0.0, "ConnectionLost", "the instrument closed the connection"
    )
    link = Replay([lost], {"here": "supply"}, {}).open_link("here", LinkSettings())
    link.send(b"MEAS:VOLT?\n")
    with pytest.raises(ConnectionLost, match="closed the connection"):
        link.receive(time.monotonic(), lambda: None)


def test_a_command_to_one_instrument_changes_what_another_answers() -> None:
    """A generator that is switched on raises the supply's current."""
    on = Exchange(0.0, "generator", "run", "OUTP ON")
    traffic = RecordedTraffic([exchange("MEAS:CURR?", "1.7"), on, exchange("MEAS:CURR?", "36.6")])
    assert answers(traffic, "MEAS:CURR?", "MEAS:CURR?") == ["1.7", "1.7"]
    traffic.answer("generator", "OUTP ON", "run")
    assert answers(traffic, "MEAS:CURR?") == ["36.6"]


def test_the_clock_goes_as_it_went_when_the_answers_came() -> None:
    recorded = [Exchange(10.0, "supply", "run", "*OPC?", b"1\n", took_s=2.5)]
    replay = Replay(recorded, {"here": "supply"}, {}, now=lambda: 4.0)
    link = replay.open_link("here", LinkSettings())
    link.send(b"*OPC?\n")
    assert replay.owed_s("supply") == 8.5
    assert replay.owed_s("supply") == 0.0
