"""Text for consoles that lack characters, and text from outside that may hold any."""

from __future__ import annotations

import pytest

from benchctl.readable import READABLE, answer_text, printable, readable, register

SHOWN = [
    ("4 \N{OHM SIGN}", "ascii", "4 ohm"),
    ("4 \N{GREEK CAPITAL LETTER OMEGA}", "cp1252", "4 ohm"),
    ("4 \N{GREEK CAPITAL LETTER OMEGA}", "cp437", "4 \N{GREEK CAPITAL LETTER OMEGA}"),
    ("10 \N{MICRO SIGN}s", "ascii", "10 us"),
    ("85 \N{DEGREE SIGN}C \N{PLUS-MINUS SIGN} 2 K", "ascii", "85 degC +/- 2 K"),
    ("85 \N{DEGREE SIGN}C \N{PLUS-MINUS SIGN} 2 K", "latin-1", "85 \N{DEGREE SIGN}C \N{PLUS-MINUS SIGN} 2 K"),
    ("\N{LESS-THAN OR EQUAL TO} 5 \N{MULTIPLICATION SIGN} 2", "ascii", "<= 5 x 2"),
    ("Pr\N{LATIN SMALL LETTER U WITH DIAERESIS}fling \N{EN DASH} gut", "ascii", "Prufling - gut"),
    ("\N{BOX DRAWINGS LIGHT DOWN AND RIGHT}\N{BOX DRAWINGS LIGHT HORIZONTAL}", "cp1252", "+-"),
    ("\N{BOX DRAWINGS LIGHT VERTICAL}\N{LOWER HALF BLOCK}\N{FULL BLOCK}", "ascii", "|##"),
    ("\N{CJK UNIFIED IDEOGRAPH-6F22}", "ascii", "?"),
    ("runs/\udce9t\udce9", "utf-8", "runs/\\xe9t\\xe9"),  # PEP 383: a file name in latin-1
]


@pytest.mark.parametrize(("text", "encoding", "shown"), SHOWN)
def test_what_a_console_has_no_character_for_stays_readable(text: str, encoding: str, shown: str) -> None:
    register()
    assert text.encode(encoding, READABLE).decode(encoding) == shown


def test_every_character_has_a_stand_in_that_any_console_shows() -> None:
    every = [chr(code) for code in range(0x80, 0x3000)] + ["\ufffd", "\ud800", "\U0001f50a"]
    stand_ins = [readable(char) for char in every]
    assert all(each and each.isascii() and each.isprintable() for each in stand_ins)


def test_nothing_printable_moves_the_cursor_and_what_is_long_is_cut() -> None:
    assert printable("a\x1b[2J\r\nb\x07", longest=40) == "a\\x1b[2J\\x0d\\x0ab\\x07"
    assert printable("right to left \u202e", longest=40) == "right to left \\u202e"
    assert printable("x" * 100, longest=10) == "xxxxxxx..."


def test_an_answer_is_text_without_control_characters() -> None:
    assert answer_text(b" 14.4\r\n") == "14.4"
    assert answer_text(b"\x1b[2J\xb0,1\t2") == "\\x1b[2J\\xb0,1 2"
