"""How an answer is taken: which part of it counts, what it means, and in which unit it is."""

from __future__ import annotations

import math

import pytest

from benchctl.readable import answer_text
from benchctl.scpi.answer_form import AnswerForm, is_same_answer, listed_numbers
from benchctl.scpi.errors import FormatError

LIST = "C1:BSWV WVTP,SINE,FRQ,1000HZ,PERI,0.001S,AMP,2V,OFST,0V"


@pytest.mark.parametrize(
    ("form", "answer", "number"),
    [
        (AnswerForm(), "14.4", 14.4),
        (AnswerForm(quantity="V"), "14.40V", 14.4),
        (AnswerForm(quantity="V"), "14400 mV", 14.4),
        (AnswerForm(quantity="Hz"), "1.5KHZ", 1500.0),
        (AnswerForm(quantity="C"), "23.5 C", 23.5),
        (AnswerForm(quantity="C", unit="K"), "296.65", 23.5),
        (AnswerForm(quantity="C"), "296.65 K", 23.5),
        (AnswerForm(quantity="C", unit="F"), "74.3", 23.5),
        (AnswerForm(quantity="V", unit="mV"), "25.5", 0.0255),
        (AnswerForm(quantity="V", header=True, after="AMP", unit="vpp"), LIST, 2 / (2 * math.sqrt(2))),
        (AnswerForm(quantity="Hz", header=True, after="FRQ"), LIST, 1000.0),
        (AnswerForm(after="AMP"), "FRQ=1000;AMP=2", 2.0),
        (AnswerForm(field=2), "14.4,7.5,108", 7.5),
        (AnswerForm(field=2), "14.4;7.5", 7.5),
        (AnswerForm(field=3, separators=(" ",)), "70.1  71.2   72.3", 72.3),
        (AnswerForm(columns=(3, 6)), "V=14.4A=07.5", 14.4),
        (AnswerForm(base="hex"), "0x0c", 12.0),
        (AnswerForm(base="hex"), "#H0C", 12.0),
        (AnswerForm(base="binary"), "#B1100", 12.0),
        (AnswerForm(base="byte", bits=(6,)), "A", 1.0),
        (AnswerForm(bits=(0, 3)), "6", 0.0),
        (AnswerForm(bits=(0, 3)), "8", 1.0),
        (AnswerForm(quantity="ohm", times=1000.0), "0.004", 4.0),
        (AnswerForm(times=2.0, plus=1.0), "3", 7.0),
        (AnswerForm(header=True), "CH1:SCALE 1.0E0", 1.0),
    ],
)
def test_a_number_is_taken_out_of_the_answer_and_turned_into_its_base_unit(
    form: AnswerForm, answer: str, number: float
) -> None:
    assert form.number(answer) == pytest.approx(number)


@pytest.mark.parametrize(
    ("resistance_ohm", "temperature_c"),
    # IEC 60751:2008, table 1: resistance of a Pt100 at 0, 50 and 100 degC.
    [(100.0, 0.0), (119.40, 50.0), (138.51, 100.0)],
)
def test_the_resistance_of_a_platinum_sensor_becomes_degrees(resistance_ohm: float, temperature_c: float) -> None:
    assert AnswerForm(quantity="C", unit="pt100").number(f"{resistance_ohm}") == pytest.approx(temperature_c, abs=0.02)
    assert AnswerForm(quantity="C", unit="pt1000").number(f"{10 * resistance_ohm}") == pytest.approx(
        temperature_c, abs=0.02
    )


@pytest.mark.parametrize("answer", ["9.91E37", "NAN", "OL", "ovld", "----", "-9999"])
def test_what_stands_for_no_reading_is_no_number(answer: str) -> None:
    assert math.isnan(AnswerForm(no_reading=("-9999",)).number(answer))


@pytest.mark.parametrize("answer", ["9.9E37", "-9.9E37"])
def test_a_reading_over_its_range_is_infinite(answer: str) -> None:
    assert math.isinf(AnswerForm().number(answer))


@pytest.mark.parametrize(
    ("form", "answer"),
    [
        (AnswerForm(), ""),
        (AnswerForm(), "14.4.1"),
        (AnswerForm(), "14,4"),
        (AnswerForm(quantity="V"), "14.4 A"),
        (AnswerForm(quantity="V"), "14.4 quux"),
        (AnswerForm(quantity="C"), "23.5 V"),
        (AnswerForm(field=4), "1,2,3"),
        (AnswerForm(field=1, fields=2), "14.4"),
        (AnswerForm(field=1, fields=2), "14.4;7.5;1"),
        (AnswerForm(after="OFS"), LIST),
        (AnswerForm(after="OFST"), "WVTP,SINE,OFST"),
        (AnswerForm(columns=(3, 6)), "V=1"),
        (AnswerForm(header=True), "1.0E0"),
        (AnswerForm(base="byte"), "AB"),
        (AnswerForm(base="hex"), "0xZZ"),
        (AnswerForm(bits=(1,)), "1.5"),
    ],
)
def test_an_answer_of_another_form_is_refused(form: AnswerForm, answer: str) -> None:
    with pytest.raises(FormatError):
        form.number(answer)


INVERTED = AnswerForm(yes=("0",), no=("1",))
STATE = AnswerForm(yes=("STOP",), no=("WAIT", "TD", "RUN"))


@pytest.mark.parametrize(
    ("form", "answer", "truth"),
    [
        (AnswerForm(), "1", True),
        (AnswerForm(), "+0", False),
        (AnswerForm(), "1.0E+00", True),
        (AnswerForm(), "off", False),
        (INVERTED, "0", True),
        (INVERTED, "1", False),
        (STATE, "stop", True),
        (STATE, "TD", False),
        (AnswerForm(header=True), "TRIG:STAT 1", True),
        (AnswerForm(yes=("DONE",), no=("BUSY",), other=False), "anything", False),
        (AnswerForm(field=1), "ON,LOAD,HZ,PLRT,NOR", True),
        (AnswerForm(bits=(5,)), "32", True),
        (AnswerForm(bits=(5,), yes=("0",), no=("1",)), "32", False),
    ],
)
def test_yes_and_no_are_the_words_of_the_instrument(form: AnswerForm, answer: str, truth: bool) -> None:
    assert form.truth(answer) is truth


@pytest.mark.parametrize(("form", "answer"), [(AnswerForm(), "2"), (AnswerForm(), ""), (STATE, "1"), (INVERTED, "OFF")])
def test_what_means_neither_yes_nor_no_is_refused_and_never_confirms_off(form: AnswerForm, answer: str) -> None:
    with pytest.raises(FormatError):
        form.truth(answer)
    assert not form.means_no(answer)


def test_what_is_only_taken_for_no_because_it_is_nothing_else_never_confirms_off() -> None:
    assert not AnswerForm(yes=("ON",), no=("OFF",), other=False).means_no("perhaps")


@pytest.mark.parametrize(
    ("answer", "count", "is_off"), [("0,0", 2, True), ("0;0", 2, True), ("0,1", 2, False), ("0", 2, False)]
)
def test_several_switches_are_off_only_if_each_is_known_to_be(answer: str, count: int, is_off: bool) -> None:
    assert AnswerForm().all_mean_no(answer, count) is is_off


@pytest.mark.parametrize(
    ("form", "answer", "states"),
    [
        (AnswerForm(), "0;0", [False, False]),
        (AnswerForm(), "0;4", [False, True]),
        (AnswerForm(bits=(9, 10)), "1024", [True]),
        (AnswerForm(bits=(9, 10)), "256", [False]),
        (AnswerForm(yes=("TRIP",), no=("OK",)), "OK,TRIP", [False, True]),
    ],
)
def test_a_register_tells_of_each_protection(form: AnswerForm, answer: str, states: list[bool]) -> None:
    assert form.states(answer) == states


def test_a_word_that_no_protection_knows_is_refused() -> None:
    with pytest.raises(FormatError):
        AnswerForm(yes=("TRIP",), no=("OK",)).states("4")


@pytest.mark.parametrize(
    ("answer", "word", "same"),
    [
        ("+5.000000E+00", "5", True),
        ('"SIN"', "sin", True),
        ("SQU", "SIN", False),
        ("5", "5.1", False),
        ("5", "V", False),
    ],
)
def test_two_answers_are_the_same_in_any_case_and_any_form_of_a_number(answer: str, word: str, same: bool) -> None:
    assert is_same_answer(answer, word) is same


def test_a_byte_of_bits_is_read_whatever_its_bits_are() -> None:
    """Such a byte may be a space, a line feed or no ASCII at all."""
    for status in range(256):
        answer = answer_text(bytes([status]))
        assert AnswerForm(base="byte").number(answer) == status
        for bit in range(8):
            is_set = bool(status >> bit & 1)
            assert AnswerForm(base="byte", bits=(bit,)).truth(answer) == is_set
            assert AnswerForm(base="byte", bits=(bit,)).means_no(answer) != is_set


@pytest.mark.parametrize(
    ("answer", "numbers"),
    [
        ("(@101,103)", {101, 103}),
        ("(@101:103,110)", {101, 102, 103, 110}),
        ("(@)", set()),
        ("3,7", {3, 7}),
        ("3 7", {3, 7}),
        ('"(@5)"', {5}),
    ],
)
def test_a_list_of_numbers_is_read_in_the_forms_of_scpi_and_without_them(answer: str, numbers: set[int]) -> None:
    assert listed_numbers(answer) == numbers


@pytest.mark.parametrize("answer", ["", "(@", "(@101", "101)", "ERR", "(@1O1)", "1.5", "-3", "(@1:99999)", "101;103"])
def test_what_is_no_list_of_numbers_is_refused_and_never_confirms_off(answer: str) -> None:
    form = AnswerForm(among=(101,))
    with pytest.raises(FormatError):
        listed_numbers(answer)
    assert not form.means_no(answer)


def test_a_list_means_no_only_if_it_holds_none_of_those_asked_about() -> None:
    form = AnswerForm(among=(101, 102))
    assert form.means_no("(@103,111)")
    assert not form.means_no("(@102)")
    assert form.truth("(@102)")
    assert not form.truth("(@)")
