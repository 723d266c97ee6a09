"""Carrying out the safe state: the order, and what one instrument may do to the others."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from benchctl.errors import NoAnswer
from benchctl.guard import crew, safe_state
from benchctl.guard.confirmation import all_confirmed
from benchctl.guard.safe_state import carry_out
from benchctl.instruments.safe_part import SafePart
from benchctl.scpi.answer_form import AnswerForm
from tests.guard.crews import all_end

NAMES = ("generator", "supply", "load")
PLAN = [SafePart(name, "nowhere", "output off", ("OUTP OFF",), ("OUTP?",)) for name in NAMES]
DEADLINE_S = 30.0


class ScriptedWire:
    """Writes down what it is told and answers as it is made to."""

    def __init__(self, name: str, heard: list[str], answer: Callable[[], str] = lambda: "0") -> None:
        self._name = name
        self._heard = heard
        self._answer = answer

    def command_urgently(self, text: str) -> None:
        self._heard.append(f"{self._name}: {text}")

    def ask_urgently(self, text: str) -> str:
        self._heard.append(f"{self._name}: {text}")
        return self._answer()


class BlockedWire(ScriptedWire):
    """Waits for an instrument that never comes, until it is let go."""

    def __init__(self, name: str, heard: list[str]) -> None:
        super().__init__(name, heard)
        self.let_go = threading.Event()
        self.has_given_up = False

    def command_urgently(self, text: str) -> None:
        self.has_given_up = not self.let_go.wait(DEADLINE_S)
        raise NoAnswer("no answer in time")


class LeisurelyWire(ScriptedWire):
    """Needs a moment for each message, in which another instrument's could pass it."""

    def command_urgently(self, text: str) -> None:
        threading.Event().wait(0.02)
        super().command_urgently(text)

    def ask_urgently(self, text: str) -> str:
        threading.Event().wait(0.02)
        return super().ask_urgently(text)


def silent() -> str:
    raise NoAnswer("no answer in time")


@pytest.fixture
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """The order holds however busy the computer is."""
    monkeypatch.setattr(safe_state, "STEP_ASIDE_S", DEADLINE_S)


@pytest.mark.usefixtures("patient")
def test_every_command_goes_out_in_order_before_the_first_question_though_each_takes_a_moment() -> None:
    heard: list[str] = []
    told = carry_out(PLAN, {name: LeisurelyWire(name, heard) for name in NAMES})
    assert all_confirmed(told)
    assert heard[:3] == [f"{name}: OUTP OFF" for name in NAMES]
    assert sorted(heard[3:]) == sorted(f"{name}: OUTP?" for name in NAMES)


def test_in_a_dry_run_the_questions_go_out_in_order_too_so_that_two_are_alike() -> None:
    heard: list[str] = []
    carry_out(PLAN, {name: LeisurelyWire(name, heard) for name in NAMES}, rest=lambda _: None)
    assert heard == [f"{name}: OUTP OFF" for name in NAMES] + [f"{name}: OUTP?" for name in NAMES]


def test_no_question_waits_for_the_command_of_another_instrument(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crew, "STEP_ASIDE_S", 2 * DEADLINE_S)
    heard: list[str] = []
    blocked = BlockedWire("generator", heard)
    wires = {"generator": blocked, "supply": ScriptedWire("supply", heard)}
    worker = threading.Thread(target=carry_out, args=(PLAN[:2], wires))
    worker.start()
    while len(heard) < 2:
        assert not blocked.has_given_up
        worker.join(0.001)
    assert heard == ["supply: OUTP OFF", "supply: OUTP?"]
    blocked.let_go.set()
    worker.join(DEADLINE_S)


@pytest.mark.parametrize("blocked", NAMES)
def test_whichever_instrument_blocks_the_others_are_commanded_and_confirmed(blocked: str) -> None:
    heard: list[str] = []
    wire = BlockedWire(blocked, heard)
    wires = {name: ScriptedWire(name, heard) for name in NAMES} | {blocked: wire}
    others = [name for name in NAMES if name != blocked]
    told: list[bool] = []
    worker = threading.Thread(target=lambda: told.extend(each.confirmed for each in carry_out(PLAN, wires)))
    worker.start()
    while len(heard) < 2 * len(others):
        worker.join(0.001)
    assert heard[:2] == [f"{name}: OUTP OFF" for name in others]
    assert sorted(heard[2:]) == sorted(f"{name}: OUTP?" for name in others)
    wire.let_go.set()
    worker.join(DEADLINE_S)
    assert told == [True, True, True], "a late command is made good for as long as somebody waits"


def test_an_instrument_that_does_not_confirm_is_told_and_asked_three_times() -> None:
    heard: list[str] = []
    (told,) = carry_out(PLAN[:1], {"generator": ScriptedWire("generator", heard, silent)})
    assert heard == ["generator: OUTP OFF", "generator: OUTP?"] * 3
    assert not told.confirmed
    assert told.detail == "no answer in time"


def test_an_answer_that_is_not_off_is_quoted() -> None:
    (told,) = carry_out(PLAN[:1], {"generator": ScriptedWire("generator", [], lambda: "1")})
    assert str(told) == "generator: output off: NOT CONFIRMED (it answers '1' to OUTP?)"


@pytest.mark.usefixtures("patient")
def test_in_a_hurry_the_commands_go_out_and_nobody_is_asked() -> None:
    heard: list[str] = []
    hurried = threading.Event()
    hurried.set()
    told = carry_out(PLAN, {name: ScriptedWire(name, heard) for name in NAMES}, hurried)
    assert heard == [f"{name}: OUTP OFF" for name in NAMES]
    assert not any(each.confirmed for each in told)


def test_what_nobody_waits_for_any_more_is_not_told_or_asked_again() -> None:
    """A guardian may have the instrument by then, and many an instrument takes one link at a time."""
    hurried = threading.Event()

    def hurry() -> str:
        hurried.set()
        return "1"

    heard: list[str] = []
    with all_end():
        carry_out(PLAN[:1], {"generator": ScriptedWire("generator", heard, hurry)}, hurried)
    assert heard == ["generator: OUTP OFF", "generator: OUTP?"]


def test_a_hurry_that_begins_while_an_instrument_keeps_everybody_waiting_ends_the_wait() -> None:
    hurried = threading.Event()
    wire = BlockedWire("generator", [])
    worker = threading.Thread(target=carry_out, args=(PLAN[:1], {"generator": wire}, hurried))
    worker.start()
    hurried.set()
    worker.join(DEADLINE_S)
    assert not worker.is_alive()
    wire.let_go.set()


def test_without_threads_to_be_had_one_part_is_carried_out_after_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_thread: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr(threading.Thread, "start", refuse)
    heard: list[str] = []
    assert all_confirmed(carry_out(PLAN, {name: ScriptedWire(name, heard) for name in NAMES}))
    assert heard == [word for name in NAMES for word in (f"{name}: OUTP OFF", f"{name}: OUTP?")]


@pytest.mark.parametrize(
    ("answer", "switches", "means_off"),
    [
        ("0", 1, True),
        ("+0", 1, True),
        ("OFF", 1, True),
        (" off ", 1, True),
        ("1", 1, False),
        ("ON", 1, False),
        ("", 1, False),
        ("0,0,0", 3, True),
        ("0,1,0", 3, False),
        ("0,0", 3, False),
        ("0,0,0,0", 3, False),
    ],
)
def test_off_is_what_says_so_of_every_switch_and_nothing_else(answer: str, switches: int, means_off: bool) -> None:
    part = SafePart("load", "nowhere", "disconnected", ("ROUT:OPEN:ALL",), ("ROUT:CLOS? (@1)",), switches)
    assert part.is_confirmed_by(answer) is means_off


def test_what_is_neither_on_nor_off_counts_as_on() -> None:
    assert not PLAN[0].is_confirmed_by("perhaps")


def test_off_is_confirmed_in_the_words_of_the_driver_file() -> None:
    inverted = SafePart("supply", "", "off", ("O 0",), ("O?",), form=AnswerForm(yes=("0",), no=("1",)))
    assert inverted.is_confirmed_by("1")
    assert not inverted.is_confirmed_by("0")
    assert not inverted.is_confirmed_by("OFF"), "a word that the driver file does not know confirms nothing"


def test_a_bit_of_a_status_byte_that_is_clear_confirms_off() -> None:
    status = SafePart("supply", "", "off", ("OUT0",), ("STATUS?",), form=AnswerForm(base="byte", bits=(6,)))
    assert status.is_confirmed_by("\x01")
    assert not status.is_confirmed_by("A"), "65 has bit 6 set"
    assert not status.is_confirmed_by(""), "no byte"


def test_an_instrument_that_cannot_be_asked_is_told_and_never_confirmed() -> None:
    heard: list[str] = []
    part = SafePart("supply", "", "output off", ("OUT0",), ())
    (confirmation,) = carry_out([part], {"supply": ScriptedWire("supply", heard)})
    assert "OUT0" in "".join(heard)
    assert not confirmation.confirmed
    assert "no question" in confirmation.detail
