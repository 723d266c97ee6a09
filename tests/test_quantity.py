"""Quantities: one number, one known unit with one known prefix, and nothing else."""

from __future__ import annotations

import math
import re
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.quantity import QuantityError, clock_face, parse_quantity, pattern_for, render, units_for

PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}  # SI brochure, table 7
SCALABLE = ["V", "A", "ohm", "Hz", "s", "W", "F", "H", "J", "Sa/s"]
EVERY_UNIT = [*SCALABLE, "1", "degC", "K", "1/K", "V/A", "K/s", "K/W", "J/K"]

_settings = settings(derandomize=True, max_examples=300, deadline=None)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("14.4 V", "V", 14.4),
        ("4ohm", "ohm", 4.0),
        ("1 kHz", "Hz", 1000.0),
        ("20 ms", "s", 0.02),
        ("30 min", "s", 1800.0),  # a minute has 60 s, not a milli-inch
        ("2 h", "s", 7200.0),
        ("85 degC", "degC", 85.0),
        ("-20 degC", "degC", -20.0),
        ("1 %", "1", 0.01),
        ("60 ppm/K", "1/K", 60e-6),
        ("10 mV/A", "V/A", 0.01),
        ("50 MSa/s", "Sa/s", 50e6),
        ("2 K/min", "K/s", 2 / 60),
        ("1.5e3 W", "W", 1500.0),
        (".5 A", "A", 0.5),
        ("5. A", "A", 5.0),
        ("  +3 V ", "V", 3.0),
    ],
)
def test_a_quantity_is_read_in_base_units(text: str, unit: str, value: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-15)


# As people type them, or paste them from a data sheet: ours, and the value by the prefixes of the SI.
SPELLINGS = [
    ("4 Ω", "ohm", "4 ohm"),
    ("4 \N{OHM SIGN}", "ohm", "4 ohm"),
    ("8 Ohm", "ohm", "8 ohm"),
    ("4.7 kΩ", "ohm", "4.7 kohm"),
    ("5 mOhms", "ohm", "5 mohm"),
    ("45 °C", "degC", "45 degC"),
    ("45\N{DEGREE CELSIUS}", "degC", "45 degC"),
    ("\N{MINUS SIGN}20\N{NO-BREAK SPACE}°C", "degC", "-20 degC"),
    ("10 \N{MICRO SIGN}s", "s", "10 us"),
    ("10 \N{GREEK SMALL LETTER MU}s", "s", "10 us"),
    ("1 KHz", "Hz", "1 kHz"),
    ("20 MS/s", "Sa/s", "20 MSa/s"),
]


@pytest.mark.parametrize(("typed", "unit", "ours"), SPELLINGS)
def test_units_are_read_as_people_type_them_and_printed_in_one_spelling(typed: str, unit: str, ours: str) -> None:
    assert parse_quantity(typed, unit) == parse_quantity(ours, unit)
    assert render(parse_quantity(typed, unit), unit) == ours
    assert re.match(pattern_for(unit), typed)


@pytest.mark.parametrize(("typed", "value"), [("10k", 10e3), ("10 K", 10e3), ("2.5M", 2.5e6), ("1 G", 1e9)])
def test_a_plain_number_may_stand_in_thousands_and_millions(typed: str, value: float) -> None:
    assert parse_quantity(typed, "") == value


def test_a_small_superscript_is_no_digit() -> None:
    with pytest.raises(QuantityError):
        parse_quantity("4\N{SUPERSCRIPT TWO} ohm", "ohm")


@pytest.mark.parametrize(
    ("text", "value"),
    [("0 dB", 1.0), ("20 dB", 10.0), ("-20 dB", 0.1), ("6 dB", 1.9952623149688795)],  # 10^(dB/20), by definition
)
def test_decibels_are_an_amplitude_ratio(text: str, value: float) -> None:
    assert parse_quantity(text, "1") == pytest.approx(value, rel=1e-12)


def test_dbv_is_relative_to_one_volt() -> None:
    assert parse_quantity("-6 dBV", "V") == pytest.approx(0.5011872336272722, rel=1e-12)  # 10^(-6/20) V


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("30 min", "V"),
        ("14,4 V", "V"),
        ("14", "V"),
        ("V", "V"),
        ("", "V"),
        ("14  V", "V"),
        ("14\tV", "V"),
        ("14 V 2", "V"),
        ("1 2 V", "V"),
        ("14 volts", "V"),
        ("14 v", "V"),
        ("1 kkV", "V"),
        ("1 mdB", "1"),
        ("1 kmin", "s"),
        ("1 m%", "1"),
        ("nan V", "V"),
        ("inf V", "V"),
        ("0x10 V", "V"),
        ("1_000 V", "V"),
        ("1e400 V", "V"),
        ("99999 dB", "1"),
        ("1 degC", "K"),
        ("1 K", "degC"),
        ("1 min", "1"),
        ("٣ V", "V"),  # an Arabic three
        ("1" * 100_000 + " V", "V"),
    ],
)
def test_anything_else_is_refused(text: str, unit: str) -> None:
    with pytest.raises(QuantityError):
        parse_quantity(text, unit)


def test_a_bare_number_is_told_which_units_would_do() -> None:
    with pytest.raises(QuantityError, match=r"'500' has no unit; give s, ms, us, min or h, for example '20 ms'"):
        parse_quantity("500", "s")


def test_a_decimal_comma_is_named_as_such() -> None:
    with pytest.raises(QuantityError, match=r"'14,4 V' has a decimal comma"):
        parse_quantity("14,4 V", "V")


def test_a_wrong_unit_is_quoted_and_the_right_ones_are_offered() -> None:
    with pytest.raises(QuantityError, match=r"'11 A': 'A' is not accepted here; give V, mV, kV or dBV"):
        parse_quantity("11 A", "V")


def test_what_was_found_is_shown_short_and_without_control_characters() -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity("\x1b[2J" + "x" * 1000, "V")
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize("unit", EVERY_UNIT)
def test_every_unit_that_is_offered_is_read(unit: str) -> None:
    for offered in units_for(unit):
        assert math.isfinite(parse_quantity(f"1 {offered}", unit))


@_settings
@given(
    st.decimals(min_value="1e-6", max_value="1e6", places=6), st.sampled_from(SCALABLE), st.sampled_from(list(PREFIXES))
)
def test_a_prefix_scales_and_changes_nothing_else(number: object, unit: str, prefix: str) -> None:
    assert parse_quantity(f"{number} {prefix}{unit}", unit) == pytest.approx(
        float(str(number)) * PREFIXES[prefix], rel=1e-12
    )


@_settings
@given(st.text(max_size=60), st.sampled_from(EVERY_UNIT))
def test_no_text_gives_anything_but_a_finite_number_or_a_quantity_error(text: str, unit: str) -> None:
    with suppress(QuantityError):
        assert math.isfinite(parse_quantity(text, unit))


@_settings
@given(st.floats(min_value=1e-11, max_value=1e11), st.sampled_from(SCALABLE), st.sampled_from([1.0, -1.0]))
def test_a_rendered_quantity_reads_back_to_its_four_figures(value: float, unit: str, sign: float) -> None:
    assert parse_quantity(render(sign * value, unit), unit) == pytest.approx(sign * value, rel=5.1e-4)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (14.4, "V", "14.4 V"),
        (0.05, "V", "50 mV"),
        (0.0, "A", "0 A"),
        (85.0, "degC", "85 degC"),
        (0.01, "1", "1 %"),
        (1000.0, "Hz", "1 kHz"),
        (math.nan, "V", "unreadable"),
        (math.inf, "A", "unreadable"),
    ],
)
def test_a_value_is_rendered_for_a_person(value: float, unit: str, text: str) -> None:
    assert render(value, unit) == text


def test_a_plain_number_has_no_unit() -> None:
    """A damping factor of 100 is no 10000 %."""
    assert parse_quantity("100", "") == 100.0
    assert render(100.0, "") == "100"
    with pytest.raises(QuantityError, match="'%' is not accepted here"):
        parse_quantity("100 %", "")


@pytest.mark.parametrize(("seconds", "face"), [(0.9, "0:00:00"), (61.0, "0:01:01"), (36_000.0, "10:00:00")])
def test_a_clock_face_has_hours_minutes_and_seconds(seconds: float, face: str) -> None:
    assert clock_face(seconds) == face
