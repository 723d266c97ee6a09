"""Driver files of oscilloscopes: what they may say of records, and what is refused with what to write instead."""

from __future__ import annotations

import pytest

from benchctl import library
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.documents.driver_file.records import Memory
from benchctl.documents.reader import load_driver
from tests.documents.conftest import ProblemsOf
from tests.runner.rig import document

SCALE = "interval: 5, start: 6, reference_sample: 7, volts_per_code: 8, zero_code: 9, reference_code: 10"


@pytest.fixture
def text() -> str:
    return library.find("drivers", "oscilloscope/preamble_list").read_text(encoding="utf-8")


def with_key(text: str, line: str) -> str:
    return text.replace("title:", f"{line}\ntitle:", 1)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("preamble: list", "3:1: 'preamble' is not a key any more"),
        ("samples: int12", "3:10: unknown type of sample 'int12'; did you mean 'int"),
        ("samples: {type: int16, order: low}", "3:31: unknown order of bytes 'low'"),
        ("samples: {kind: int16}", "3:11: unknown key 'kind'"),
        ("samples: {type: {ask: 'WAV:BYT?', int8: 1}}", "3:17: what is asked for has two answers or more"),
        ("samples: {type: {ask: 'WAV:BYT?', int8: 1, int16: '1.0'}}", "3:17: '1' means two things here"),
        ("samples: {type: int16, chunk: 10}", "3:31: '10' is written where a whole number from 100 belongs"),
        ("samples: {type: int16, chunk: 1000}", "a part of a record is asked for by '{first}' and '{last}'"),
        ("memory: []", "3:9: the list of lengths is empty"),
        ("memory: [many]", "3:9: 'many' is written where a whole number from 100 belongs"),
        ("memory: {1K: 1000, 10K: 10000}", "the value '{memory}' is not used"),
        ("memory: {table: [1000], parted: yes}", "3:25: unknown key 'parted'"),
    ],
)
def test_what_cannot_be_meant_is_refused_at_its_place(
    line: str, message: str, text: str, problems_of: ProblemsOf
) -> None:
    told = problems_of(with_key(text, line), "driver")
    assert message in told[0]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("TIM:POS {pretrigger_s:.9g}", "TIM:POS 0", "nothing says where the trigger lies; use one of '{pretrigger_s}'"),
        ("ACQ:POIN {samples:d}", "ACQ:POIN 1000", "the value '{samples}' is not used; say 'memory: auto'"),
        ("interval: 5, ", "", "the time between samples is not told; give one of interval, sample_rate, end"),
        ("interval: 5, start: 6", "end: 5", "'end' without 'start' does not tell the time between samples"),
        (" volts_per_code: 8,", "", "'volts_per_code' is missing; only floats and text are volts"),
        ('"WAV:SOUR CHAN{channel}"', "none", "nothing says which channel is asked; give 'choose_source'"),
        (", volts_per_code: 8", ", volts_per_kode: 8", "unknown"),
        ("{offset_v:.6g}", "0", "'{offset_v}' or '{shift_v}' or '{shift_divisions}' is not used"),
    ],
)
def test_a_driver_that_leaves_out_what_a_record_needs_is_refused(
    old: str, new: str, message: str, text: str, problems_of: ProblemsOf
) -> None:
    assert old in text
    assert any(message in told for told in problems_of(text.replace(old, new, 1), "driver"))


def test_one_without_any_trigger_is_refused(text: str, problems_of: ProblemsOf) -> None:
    for name in ("trigger_external", "trigger_channel"):
        start = text.index(f"  {name}:")
        text = text[:start] + f"  {name}: none" + text[text.index("\n", start) :]
    assert any("'trigger_external' and 'trigger_channel' are both none" in told for told in problems_of(text, "driver"))


@pytest.mark.parametrize(
    ("line", "memory"),
    [
        ("memory: [12000, 1200]", Memory((1200, 12000))),
        ("memory: {table: [1200], shared: yes}", Memory((1200,), is_shared=True)),
        ("memory: auto", Memory(is_automatic=True)),
        ("memory: 1200", Memory((1200,))),
    ],
)
def test_lengths_are_told_as_a_list_one_number_or_none_of_ours(line: str, memory: Memory, text: str) -> None:
    assert document(with_key(text, line), "driver", OscilloscopeDriver).memory == memory


def test_what_is_asked_means_what_the_file_says_in_whatever_form_it_is_answered() -> None:
    driver = load_driver("oscilloscope/byte_order_asked")
    assert isinstance(driver, OscilloscopeDriver)
    assert driver.samples.type.meaning("2") == driver.samples.type.meaning("+2.0E0") == "int16"
    assert driver.samples.order.meaning("msb") == "high_first"
    with pytest.raises(ValueError, match="means none of"):
        driver.samples.type.meaning("4")
