"""The terminal of a person who drives by hand: its keys and its page."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator
from dataclasses import replace
from types import SimpleNamespace

import pytest
from rich.console import Console

from benchctl.cli.shown.by_hand.page import KEYS_IN_WORDS, Page
from benchctl.errors import OperatorStop
from benchctl.guard.states import State
from benchctl.measure.conditions import Conditions
from benchctl.runner.acting.desk import OutputReading, Readings, Wish

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="terminals of POSIX")


class Typed:
    """Keys that a test has pressed."""

    def __init__(self) -> None:
        self.keys: list[str] = []

    def pressed(self) -> list[str]:
        keys, self.keys = self.keys, []
        return keys


@pytest.fixture
def typed() -> Typed:
    return Typed()


@pytest.fixture
def page(typed: Typed) -> Page:
    return Page(typed)  # type: ignore[arg-type]


def press(page: Page, typed: Typed, *keys: str) -> list[Wish]:
    typed.keys += keys
    return list(page.wishes())


def test_each_key_of_the_help_asks_for_something_of_its_own(page: Page, typed: Typed) -> None:
    kinds = [
        wish.kind for wish in press(page, typed, "o", " ", "up", "page down", "left", "l", "b", "d", "h", "c", "q")
    ]
    assert kinds == [
        *("switch", "drive", "louder", "much softer", "lower", "load", "bursts", "channel", "hold", "keep", "end"),
    ]


def test_any_other_key_says_that_a_person_is_there(page: Page, typed: Typed) -> None:
    assert press(page, typed, "x", "another key") == [Wish("present"), Wish("present")]


def test_a_note_is_written_key_by_key_until_enter_and_its_keys_do_nothing_else(page: Page, typed: Typed) -> None:
    wishes = press(page, typed, "n", "o", "k", "k", "backspace", " ", "q", "enter")
    assert wishes[:-1] == [Wish("present")] * 7
    assert wishes[-1] == Wish("note", "ok q")
    assert press(page, typed, "o") == [Wish("switch")]


def test_the_escape_key_gives_a_note_up(page: Page, typed: Typed) -> None:
    press(page, typed, "n", "o", "\x1b")
    assert press(page, typed, "o") == [Wish("switch")]


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The outer end of a terminal that is standard input."""
    import pty

    outer, inner = pty.openpty()
    with os.fdopen(inner, encoding="utf-8") as inside:
        monkeypatch.setattr(sys, "stdin", inside)
        yield outer
    os.close(outer)


def test_keys_arrive_one_by_one_with_names_for_those_that_are_no_character(terminal: int) -> None:
    from benchctl.cli.shown.by_hand.keys import keys_of_terminal

    with keys_of_terminal() as keys:
        os.write(terminal, b"o \x1b[A\x1b[6~\x1b[15~\xc3\xa9\x1b")
        assert keys.pressed() == ["o", " ", "up", "page down", "another key", "é", "\x1b"]
        assert keys.pressed() == []


def test_a_closed_terminal_is_told_as_a_stop(terminal: int) -> None:
    from benchctl.cli.shown.by_hand.keys import keys_of_terminal

    with keys_of_terminal() as keys:
        os.write(terminal, b"\x04")  # Ctrl-D is a character here, and ends nothing
        assert keys.pressed() == ["\x04"]
        nothing = os.open(os.devnull, os.O_RDONLY)
        os.dup2(nothing, sys.stdin.fileno())  # as after the other end is gone
        os.close(nothing)
        with pytest.raises(OperatorStop):
            keys.pressed()


class AtRest:
    """A run whose amplifier is on, as far as a page looks at it."""

    def __init__(self) -> None:
        guard = SimpleNamespace(
            watches=[], readings={}, parts=(), energised=True, state=State.WATCHING, old_s=lambda _: None
        )
        clock = SimpleNamespace(now=lambda: 100.0)
        interlock = SimpleNamespace(reason=None)
        self.__dict__ |= {"guard": guard, "clock": clock, "interlock": interlock, "last_record": None, "burst": None}
        self.conditions = Conditions(level_v=0.1, supply_set_v=14.4)


def shown(page: Page, readings: Readings) -> str:
    page.seen.started(SimpleNamespace(plan=[None], expected_steps=[]), AtRest(), "HX 2150", "")  # type: ignore[arg-type]
    page.show(readings)
    console = Console(width=140, height=40, record=True, file=io.StringIO(), _environ={})
    console.print(page)
    return console.export_text()


def test_the_page_says_what_is_set_until_when_the_signal_is_on_and_what_the_keys_do(page: Page) -> None:
    wanted = Conditions(load_ohm=4.0, frequency_hz=1e3, level_v=0.1, drive="set", supply_set_v=14.4, driven=("A", "B"))
    text = shown(page, Readings(is_on=True, is_driven=True, level_v=0.1, wanted=wanted, left_s=12.4))
    assert "100 mV, 1 kHz, load 4 ohm, A and B driven" in text
    assert "The signal goes off in 12 s unless a key is pressed." in text
    assert all(line in text for line in KEYS_IN_WORDS)


def test_what_is_held_is_said_to_be_old_and_is_not_shown_large(page: Page) -> None:
    outputs = {"A": OutputReading(rms_v=8.66, power_w=18.75, thd_n=0.0032, is_bound=True)}
    held = Readings(is_on=True, is_driven=True, outputs=outputs, taken_s=99.0, is_held=True)
    text = shown(page, held)
    assert "HELD: the readings of the outputs are old." in text
    assert "A   18.8 W   <0.32 %   8.66 V" in text
    assert "18.8 W" not in shown(page, replace(held, is_held=False)), "in large characters instead"
