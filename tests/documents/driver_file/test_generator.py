"""A generator's driver file says every part of its bursts, or that it lacks it."""

from __future__ import annotations

import pytest

from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.documents.model.model_base import Source
from benchctl.documents.reader import load_driver, read
from tests.documents.conftest import ProblemsOf
from tests.runner.generator_forms import driver_text


def driver(form: str, edits: dict[str, str] | None = None) -> GeneratorDriver:
    found = read(Source("own.yaml", None, driver_text(form, edits)), "driver")
    assert isinstance(found, GeneratorDriver)
    return found


@pytest.mark.parametrize(
    ("form", "old", "new", "message"),
    [
        ("cycles_and_period", '    - "SOUR1:VOLT {level_v:.6f}"\n', "", "no value for the level of the burst is used"),
        ("cycles_and_period", "NCYC {cycles}", "NCYC 8", "no value for the length of the burst is used"),
        (
            "cycles_and_period",
            "PER {every_s:.6f}",
            "PER 0.5",
            "no value for the rhythm of the bursts is used",
        ),
        (
            "cycles_and_period",
            "low_level: none\n",
            "",
            "(or say 'low_level: none') is used",
        ),
        ("cycles_and_period", "NCYC {cycles}", "NCYC {cycles};LOW {low_level_v:.3f}", "is a level between bursts, and"),
        ("cycles_and_period", 'burst_off: "SOUR1:BURS:STAT OFF"', "burst_off: none", "bursts that begin must also end"),
        ("table_as_block", "highest: 32767", "highest: 40000", "int16 holds numbers from -32768 to 32767"),
        ("table_as_block", "highest: 32767", "highest: -32768", "it is more than 'lowest'"),
        ("table_as_block", "burst,{table}", "burst,{table:d}", "'{table}' takes no format"),
        ("key_value_list", "{WVTP: SINE, OFST: 0V, PHSE: 0}", "{OFST: [[0]]}", "the right answer is a text"),
    ],
)
def test_what_would_be_lost_of_a_burst_is_refused(
    form: str, old: str, new: str, message: str, problems_of: ProblemsOf
) -> None:
    told = problems_of(driver_text(form, {old: new}), "driver")
    assert len(told) == 1
    assert message in told[0]


@pytest.mark.parametrize(
    ("form", "old", "new", "message"),
    [
        ("cycles_and_period", '", "SOUR1:VOLT {square_v:.6f}"]', '"]', "use '{square_v}' or '{level_v}'"),
        ("cycles_and_period", 'square_off: "SOUR1:FUNC SIN"', "square_off: none", "a square wave must give way to the"),
        ("cycles_and_period", "FREQ {high_tone_hz:.6f}", "FREQ 7000", "no value for the higher tone is used"),
        ("cycles_and_period", "AMPL {high_tone_percent:.4f}", "AMPL 25", "the level of the higher tone is used"),
        ("cycles_and_period", 'two_tones_off: "SOUR1:SUM:STAT OFF"', "two_tones_off: none", "two tones must give way"),
        ("table_as_block", 'SRAT {table_rate_hz:.6f}"\n    - "SOUR1:FUNC ARB"\n  two', 'SRAT 1e6"\n  two', "rate of"),
    ],
)
def test_what_would_be_lost_of_other_waves_is_refused(
    form: str, old: str, new: str, message: str, problems_of: ProblemsOf
) -> None:
    told = problems_of(driver_text(form, {old: new}), "driver")
    assert len(told) == 1
    assert message in told[0]


def test_where_each_burst_is_triggered_no_rhythm_is_needed() -> None:
    words = load_driver("generator/bus_trigger").commands
    assert "every_s" not in words.burst_on.uses  # type: ignore[union-attr]


def test_a_generator_without_bursts_says_so_with_its_place() -> None:
    edits = {
        '  burst_on:\n    - "SOUR1:VOLT {level_v:.6f}"\n    - "SOUR1:BURS:INT:PER {every_s:.6f}"\n'
        '    - "SOUR1:BURS:NCYC {cycles}"\n    - "SOUR1:BURS:STAT ON"\n': "  burst_on: none\n",
        'burst_off: "SOUR1:BURS:STAT OFF"': "burst_off: none",
    }
    words = driver("cycles_and_period", edits).commands
    assert not words.has_bursts
    lines = driver_text("cycles_and_period", edits).splitlines()
    assert words.burst_on.position == (lines.index("  burst_on: none") + 1, 13)


def test_a_period_that_is_set_is_answered_as_a_period() -> None:
    words = driver("cycles_and_period", {"FREQ {frequency_hz:.6f}": "PER {period_ms:.6f}"}).commands
    assert words.get_frequency.form.number("2.5") == 400.0


def test_the_fields_behind_words_are_confirmed_one_by_one() -> None:
    answer = "C1:BSWV WVTP,SINE,FRQ,1000HZ,AMP,2V,OFST,0V,PHSE,90"
    confirm = driver("key_value_list").confirm
    right = {each.after: each.is_right(answer) for each in confirm if "BSWV" in each.question.text}
    assert right == {"WVTP": True, "OFST": True, "PHSE": False}


@pytest.mark.parametrize(
    ("edits", "said"),
    [
        ({}, ""),
        ({"  prepare:": "  reset: none\n  prepare:"}, "only what 'confirm' asks is known: SOUR1:VOLT:UNIT? VRMS"),
    ],
)
def test_what_is_trusted_of_the_last_user_is_said(edits: dict[str, str], said: str) -> None:
    assert said in driver("cycles_and_period", edits).trusted
    assert bool(said) == bool(driver("cycles_and_period", edits).trusted)
