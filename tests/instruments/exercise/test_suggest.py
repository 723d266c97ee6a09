"""What is offered instead of a line fits the answers, and takes them as the driver language does."""

from __future__ import annotations

import math

import pytest

from benchctl.documents.driver_file.language.commands import Command
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.templates import Template
from benchctl.documents.driver_file.language.values import REAL
from benchctl.instruments.exercise.suggest import number_form, other_spelling, truth_form, written
from benchctl.scpi.answer_form import AnswerForm

LIST = "C1:BSWV WVTP,SINE,FRQ,{}HZ,AMP,{}V,OFST,0V"


def near(got: float, wanted: float) -> bool:
    return abs(got - wanted) <= 0.005 * wanted


def asked(text: str, quantity: str = "V") -> Query:
    return Query((Template(text, {}),), form=AnswerForm(quantity=quantity))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("answers", "offered"),
    [
        (("2000", "1000"), 'get_level: {ask: "VOLT?", unit: mV}'),
        (("5.656854", "2.828427"), 'get_level: {ask: "VOLT?", unit: vpp}'),
        (("VOLT 2.0", "VOLT 1.0"), 'get_level: {ask: "VOLT?", header: yes}'),
        (("3,2.0,7", "3,1.0,7"), 'get_level: {ask: "VOLT?", field: 2}'),
        (
            (LIST.format(1000, 5.656854), LIST.format(1000, 2.828427)),
            'get_level: {ask: "VOLT?", after: AMP, unit: vpp}',
        ),
    ],
)
def test_the_form_that_gives_both_values_is_offered(answers: tuple[str, str], offered: str) -> None:
    query = asked("VOLT?")
    form = number_form(query, list(zip(answers, (2.0, 1.0), strict=True)), near)
    assert form is not None
    assert written("get_level", query, form) == offered


def test_where_no_form_fits_nothing_is_offered() -> None:
    assert number_form(asked("VOLT?"), [("4", 2.0), ("4", 1.0)], near) is None
    assert number_form(asked("VOLT?"), [("ready", 2.0), ("ready", 1.0)], near) is None


@pytest.mark.parametrize(
    ("on", "off", "offered"),
    [
        ("0", "1", 'get_output: {ask: "OUTP?", yes: 0, no: 1}'),
        ("CH1,ON", "CH1,OFF", 'get_output: {ask: "OUTP?", field: 2}'),
        ("OUTP 1", "OUTP 0", 'get_output: {ask: "OUTP?", header: yes}'),
        ("RUN", "STOP", 'get_output: {ask: "OUTP?", yes: RUN, no: STOP}'),
    ],
)
def test_the_words_for_on_and_off_are_told_from_both_answers(on: str, off: str, offered: str) -> None:
    query = asked("OUTP?", "")
    form = truth_form(query, [(off, False), (on, True)])
    assert form is not None
    assert written("get_output", query, form) == offered


def test_answers_that_are_alike_tell_nothing_of_on_and_off() -> None:
    assert truth_form(asked("OUTP?", ""), [("0", False), ("0", True)]) is None
    assert truth_form(asked("OUTP?", ""), [("0", False)]) is None


@pytest.mark.parametrize(
    ("text", "value", "ratio", "name"),
    [
        ("VOLT {voltage_v:.3f}", "voltage_v", 1000.0, "voltage_mv"),
        ("VOLT {voltage_mv:.1f}", "voltage_v", 0.001, "voltage_v"),
        ("VOLT {level_v:.3f}", "level_v", 2 * math.sqrt(2), "level_vpp"),
        ("VOLT {voltage_v:.3f}", "voltage_v", 7.0, ""),
        ("VOLT {level_dbv:.3f}", "level_v", 2.0, ""),
    ],
)
def test_another_unit_of_what_is_sent_is_offered_where_its_ratio_fits(
    text: str, value: str, ratio: float, name: str
) -> None:
    command = Command((Template.parse(text, {value: REAL}),))
    assert other_spelling(command, value, ratio) == name
