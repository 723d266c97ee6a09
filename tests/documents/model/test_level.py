"""A level is written as volts at the input, watts into each load, part of rated power, or dB below the clean level."""

from __future__ import annotations

import re

import pytest

from benchctl.documents.model.level import Level, parse_level


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("500 mV", Level(0.5)),
        ("0 dBV", Level(1.0)),
        ("1 W", Level(1.0, "watts")),
        ("1.5 kW", Level(1500.0, "watts")),
        ("12.5 % rated", Level(0.125, "rated")),
        ("-10 dB rated", Level(0.1, "rated")),  # 10 dB less power: a tenth
        ("-20 dB clean", Level(0.1, "clean")),  # 20 dB less voltage: a tenth
        ("0 dB clean", Level(1.0, "clean")),
    ],
)
def test_each_form_is_read(text: str, level: Level) -> None:
    read = parse_level(text)
    assert read.of == level.of
    assert read.value == pytest.approx(level.value)


@pytest.mark.parametrize("text", ["500 mV", "1 W", "12.5 % rated", "-10 dB clean"])
def test_a_level_is_told_as_it_is_written(text: str) -> None:
    assert str(parse_level(text)) == text


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("loud", "write for example '500 mV', '1 W', '12.5 % rated' or '-10 dB clean'"),
        ("12.5 %", "write for example '500 mV', '1 W', '12.5 % rated' or '-10 dB clean'"),
        ("50 % clean", "how far below the clean level is told in dB"),
        ("300 % rated", "at most 200 %"),
        ("30 dB clean", "at most 20 dB"),
        ("0 W", "more than 0 W"),
        ("-1 V", "more than 0 V"),
    ],
)
def test_what_is_no_level_is_refused_with_what_would_be(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=re.escape(says)):
        parse_level(text)
