"""The controller parts responses where the standard says, and nowhere else."""

from __future__ import annotations

import math

import pytest

from benchctl.scpi.errors import FormatError
from benchctl.scpi.numbers import NumberError
from benchctl.scpi.responses import parse_numbers, parse_string, split_answers, split_elements


def test_answers_are_parted_at_semicolons_outside_quotes() -> None:
    assert split_answers('0;"a;b";-1.5') == ["0", '"a;b"', "-1.5"]
    assert split_answers("") == [""]
    assert split_answers("1;") == ["1", ""]


def test_elements_are_parted_at_commas_outside_quotes() -> None:
    assert split_elements('-113,"Undefined header;a,b ""c"", d"') == ["-113", '"Undefined header;a,b ""c"", d"']


def test_a_quote_left_open_is_refused() -> None:
    with pytest.raises(FormatError):
        split_answers('1;"abc')


def test_a_list_of_numbers_is_read_with_its_stand_ins() -> None:
    values = parse_numbers("1,-2.5,+1.0E3,9.91E37,9.9E37")
    assert values[:3] == [1.0, -2.5, 1000.0]
    assert math.isnan(values[3])
    assert values[4] == math.inf


@pytest.mark.parametrize("answer", ["", "1,,2", "1,2,", "1;2"])
def test_a_list_with_a_gap_is_refused(answer: str) -> None:
    with pytest.raises(NumberError):
        parse_numbers(answer)


def test_a_string_loses_its_quotes() -> None:
    assert parse_string('"a""b"') == 'a"b'
    assert parse_string("'it''s'\n") == "it's"


@pytest.mark.parametrize("answer", ["", '"', "abc", "\"abc'"])
def test_a_string_without_its_quotes_is_refused(answer: str) -> None:
    with pytest.raises(FormatError):
        parse_string(answer)
