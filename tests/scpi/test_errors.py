"""Errors keep number, text and order, whoever wrote them."""

from __future__ import annotations

import pytest

from benchctl.scpi.errors import (
    ErrorQueue,
    FormatError,
    ScpiError,
    error_text,
    is_command_error,
    parse_error,
)
from benchctl.scpi.number_list import NumberList


@pytest.mark.parametrize(
    ("answer", "error"),
    [
        ('-113,"Undefined header"', (-113, "Undefined header")),
        ('0,"No error"', (0, "No error")),
        ('+0,"No error"', (0, "No error")),
        (' -222 , "Data out of range;VOLT 99"\r\n', (-222, "Data out of range;VOLT 99")),
        ("-350,'Too many errors'", (-350, "Too many errors")),
        ('5,"says ""no"""', (5, 'says "no"')),
        ("0", (0, "")),
        ("-410,Query INTERRUPTED", (-410, "Query INTERRUPTED")),
    ],
)
def test_answers_of_different_instruments_are_read(answer: str, error: tuple[int, str]) -> None:
    assert parse_error(answer) == error


@pytest.mark.parametrize("answer", ["", "No error", '"-113"', "1.5", "--1,x"])
def test_an_answer_without_a_number_is_refused(answer: str) -> None:
    with pytest.raises(FormatError):
        parse_error(answer)


def test_the_queue_is_first_in_first_out() -> None:
    queue = ErrorQueue()
    queue.push(-113)
    queue.push(-222)
    assert [queue.pop().code for _ in range(3)] == [-113, -222, 0]


def test_a_full_queue_keeps_the_oldest_and_ends_with_the_overflow() -> None:
    """SCPI-99 21.8.1: the newest is replaced by -350, and everything later is lost."""
    queue = ErrorQueue(size=3)
    for code in (-100, -101, -102, -103, -104):
        queue.push(code)
    assert [entry.code for entry in queue.pop_all()] == [-100, -101, -350]
    queue.push(-105)
    assert queue.pop().code == -105, "once read out it takes errors again"


def test_a_queue_of_one_cannot_keep_the_rule() -> None:
    with pytest.raises(ValueError, match="at least two"):
        ErrorQueue(size=1)


def test_information_stands_behind_a_semicolon_and_cannot_break_the_quotes() -> None:
    """A client's own bytes are shown to the others only as far as they are printable."""
    queue = ErrorQueue()
    queue.push(-113, 'a"b\nc\xff')
    assert queue.pop().render() == '-113,"Undefined header;a.b.c."'


def test_a_text_is_never_longer_than_the_standard_allows() -> None:
    """SCPI-99 21.8: 255 characters."""
    assert len(error_text(-113, "x" * 1000)) == 255


def test_a_number_of_the_instruments_own_has_a_text_too() -> None:
    assert error_text(217, "Relay stuck") == "Device-specific error;Relay stuck"


def test_an_error_says_its_number_and_text() -> None:
    error = ScpiError(-222, "99 V")
    assert (error.code, error.info, str(error)) == (-222, "99 V", "Data out of range;99 V")


@pytest.mark.parametrize(("code", "is_one"), [(-99, False), (-100, True), (-199, True), (-200, False), (5, False)])
def test_command_errors_are_those_of_the_parser(code: int, is_one: bool) -> None:
    assert is_command_error(code) is is_one


def test_an_overflow_is_told_whatever_is_enabled() -> None:
    """Nobody may take a queue that lost entries for a whole one."""
    queue = ErrorQueue(size=2)
    queue.enabled = NumberList(((-113, -113),))
    for _ in range(3):
        queue.push(-113)
    assert [entry.code for entry in queue.pop_all()] == [-113, -350]
