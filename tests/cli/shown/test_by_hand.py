"""The terminal of a person who drives by hand: its keys, its large figures, its page."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator

import pytest
from rich.console import Console

from benchctl.cli.shown.by_hand.large import in_large
from benchctl.cli.shown.by_hand.page import Page, figures_of, state_in_words
from benchctl.errors import OperatorStop
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


def test_large_figures_have_five_rows_with_the_unit_small_at_the_foot() -> None:
    rows = in_large("8.6 V")
    assert len(rows) == 5
    assert rows[-1].endswith("V")
    assert not any("V" in row for row in rows[:-1])


def test_a_terminal_of_plain_characters_has_plain_figures() -> None:
    assert in_large("8.6 V", plain=True) == ["8.6 V"]


def shown(readings: Readings, *, is_large: bool = False) -> str:
    console = Console(width=140, record=True, file=io.StringIO())
    console.print(state_in_words(readings))
    guarded = {"supply_voltage": 14.39, "supply_current": 2.4, "heatsink": None}
    console.print(figures_of(readings, guarded, is_large=is_large))
    return console.export_text()


def test_the_state_line_says_whether_there_is_a_signal_and_until_when() -> None:
    wanted = Conditions(load_ohm=4.0, frequency_hz=1e3, level_v=0.1, drive="set", supply_set_v=14.4, driven=("A", "B"))
    text = shown(Readings(is_on=True, is_driven=True, level_v=0.1, wanted=wanted, left_s=12.4))
    assert "ON, WITH A SIGNAL   100 mV, 1 kHz, load 4 ohm, A and B driven" in text
    assert "the signal goes off in 12 s unless a key is pressed" in text


def test_what_is_held_is_said_to_be_old() -> None:
    assert "HELD: the readings below are old" in shown(Readings(is_on=True, is_held=True))


def test_a_bound_of_the_distortion_is_shown_as_one_and_what_is_not_known_as_a_dash() -> None:
    outputs = {"A": OutputReading(rms_v=8.66, power_w=18.75, thd_n=0.0032, is_bound=True)}
    text = shown(Readings(is_on=True, is_driven=True, outputs=outputs))
    assert "<0.32 %" in text
    assert "18.8 W" in text
    supply = next(line for line in text.splitlines() if line.startswith("supply"))
    assert supply.split() == ["supply", "14.4", "V", "2.4", "A", "-"]
