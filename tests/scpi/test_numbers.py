"""Numbers are read in each form instruments write; what stands for no number is never taken for one."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.scpi.numbers import (
    NumberError,
    format_nr1,
    format_nr3,
    parse_number,
)


@pytest.mark.parametrize(
    ("text", "value"),
    [("5", 5.0), ("+5", 5.0), ("-5", -5.0), ("1.25", 1.25), (".5", 0.5), ("5.", 5.0), ("+1.25E+01", 12.5),
     ("1e-3", 0.001), (" 1.5\r\n", 1.5), ("-0", 0.0)],
)  # fmt: skip
def test_nr1_nr2_and_nr3_are_numbers(text: str, value: float) -> None:
    """IEEE 488.2 8.7.2 to 8.7.4."""
    assert parse_number(text) == value


@pytest.mark.parametrize("text", ["9.91E37", "+9.91E+37", "9.91e37", "9.910000E+37", "NAN", "nan"])
def test_991e37_is_not_a_number(text: str) -> None:
    """SCPI-99 volume 1, 7.2.1.5."""
    assert math.isnan(parse_number(text))


@pytest.mark.parametrize(
    ("text", "value"),
    [("9.9E37", math.inf), ("+9.90000E+37", math.inf), ("-9.9E37", -math.inf), ("1E38", math.inf),
     ("-1E300", -math.inf), ("1E999", math.inf), ("INF", math.inf), ("NINF", -math.inf)],
)  # fmt: skip
def test_99e37_and_beyond_is_over_range(text: str, value: float) -> None:
    """SCPI-99 volume 1, 7.2.1.4; a number beyond the stand-in cannot be a measurement either."""
    assert parse_number(text) == value


def test_the_largest_number_below_the_stand_ins_is_a_number() -> None:
    assert parse_number("9.89E37") == 9.89e37


@pytest.mark.parametrize("text", ["", " ", "1,2", "1_000", "1.2.3", "0x10", "12 V", "12V", "1E", "E5", "--1", "1;2",
                                  "one", "infinity", "\u0661"])  # fmt: skip
def test_anything_else_is_no_number(text: str) -> None:
    """Python's own float() would take some of these."""
    with pytest.raises(NumberError):
        parse_number(text)


def test_a_number_error_is_a_value_error() -> None:
    assert issubclass(NumberError, ValueError)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.floats(-1e37, 1e37))
def test_a_number_written_in_nr3_reads_back_to_the_digits_asked_for(value: float) -> None:
    assert parse_number(format_nr3(value, digits=17)) == value
    assert parse_number(format_nr3(value)) == pytest.approx(value, rel=1e-8, abs=0.0)


@pytest.mark.parametrize(("value", "text"), [(math.nan, "9.91E37"), (math.inf, "9.9E37"), (-math.inf, "-9.9E37")])
def test_what_is_no_number_is_written_as_its_stand_in(value: float, text: str) -> None:
    """SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5."""
    assert format_nr3(value) == text


def test_the_forms_look_as_the_standard_says() -> None:
    """IEEE 488.2 8.7.2 and 8.7.4: no exponent in NR1, always one in NR3."""
    assert format_nr1(-5) == "-5"
    assert format_nr3(-5, digits=3) == "-5.00E+00"
