"""Questions and commands as driver files write them."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.documents.reader import load_driver
from benchctl.errors import DocumentError

WHOLE = """\
benchctl: driver 1
title: Of a test
based_on: supply/scpi99
commands:
"""


def driver(folder: Path, *lines: str) -> SupplyDriver:
    path = folder / "mine.yaml"
    path.write_text(WHOLE + "".join(f"  {line}\n" for line in lines), encoding="utf-8")
    read = load_driver(path)
    assert isinstance(read, SupplyDriver)
    return read


def refusal(folder: Path, *lines: str) -> str:
    with pytest.raises(DocumentError) as caught:
        driver(folder, *lines)
    return "\n".join(f"{problem.line}:{problem.column}: {problem.message}" for problem in caught.value.problems)


def test_one_line_may_answer_several_values_in_order(tmp_path: Path) -> None:
    measure = driver(tmp_path, 'measure: "MEAS:VOLT?;CURR?"').commands.measure
    (asked,) = measure.asked(output=1)
    assert [message.text for message in asked.messages] == ["MEAS:VOLT?;CURR?"]
    assert {name: query.form.number("14.4;7.5") for name, query in asked.values.items()} == {
        "voltage": 14.4,
        "current": 7.5,
    }


def test_values_may_be_asked_for_one_by_one(tmp_path: Path) -> None:
    measure = driver(tmp_path, 'measure: {voltage: "VOUT1?", current: "IOUT1?"}').commands.measure
    assert [asked.messages[0].text for asked in measure.asked(output=1)] == ["VOUT1?", "IOUT1?"]


def test_a_question_that_stands_twice_is_asked_once(tmp_path: Path) -> None:
    lines = 'measure: {ask: "MEAS:ALL? CH{output}", voltage: 1, current: {field: 2, unit: mA}}'
    (asked,) = driver(tmp_path, lines).commands.measure.asked(output=2)
    assert asked.messages[0].text == "MEAS:ALL? CH2"
    assert {name: query.form.number("14.4,7500,108") for name, query in asked.values.items()} == {
        "voltage": 14.4,
        "current": 7.5,
    }


def test_the_field_may_be_that_of_the_output(tmp_path: Path) -> None:
    get_output = driver(tmp_path, 'get_output: {ask: "STAT?", field: output}').commands.get_output
    assert get_output.form_for(output=2).truth("0,1") is True


def test_quiet_after_a_command_follows_its_last_message(tmp_path: Path) -> None:
    on = driver(tmp_path, 'output_on: {send: ["SEL {output}", "ON"], settle: 200 ms}').commands.output_on
    assert [(message.text, message.settle_s) for message in on.messages(output=1)] == [("SEL 1", 0.0), ("ON", 0.2)]


def test_a_list_may_hold_entries_that_need_quiet(tmp_path: Path) -> None:
    on = driver(tmp_path, 'output_on: [{send: "SEL {output}", settle: 50 ms}, "ON"]').commands.output_on
    assert [message.settle_s for message in on.messages(output=1)] == [0.05, 0.0]


def test_a_number_may_stand_in_place_of_a_question(tmp_path: Path) -> None:
    measure = driver(tmp_path, 'measure: {voltage: {is: 13.8}, current: "I?"}').commands.measure
    assert measure.constants == {"voltage": 13.8}


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (['get_output: {ask: "OUTP?", yes: 1, no: 1.0}'], "5:35: '1' means both yes and no here"),
        (['get_output: {ask: "OUTP?", yes: 1}'], "'no' is missing"),
        (['get_output: {ask: "OUTP", yes: 1, no: 0}'], "a question ends in one message with '?'"),
        (["get_output: {yes: 1, no: 0}"], "'ask' is missing"),
        (['get_output: {ask: "OUTP?", afer: X}'], "unknown key 'afer'; did you mean 'after'?"),
        (['get_output: {ask: "OUTP?", field: 0}'], "a whole number from 1"),
        (['get_voltage: {ask: "VOLT?", unit: mA}'], "unknown unit 'mA'"),
        (['get_voltage: {ask: "VOLT?", unit: volts}'], "unknown unit 'volts'"),
        (['get_voltage: {ask: "VOLT?", times: 2 V}'], "wants a number"),
        (['get_voltage: {ask: "VOLT?", separator: "-"}'], "is no separator"),
        (['get_voltage: {ask: "VOLT?", columns: [4, 1]}'], "stands before the first"),
        (['get_voltage: {ask: "VOLT?", columns: 4}'], "first and the last letter"),
        (['get_voltage: {ask: "VOLT?", base: octal}'], "octal"),
        (['get_voltage: {ask: "VOLT?", bits: [a]}'], "whole number"),
        (['get_voltage: {ask: "VOLT?", type: float32}'], "'byte' is missing"),
        (['get_voltage: {ask: "VOLT?", field: 1, after: V}'], "only one of"),
        (['get_voltage: {ask: "VOLT?", timeout: 0 s}'], "a timeout lies between"),
        (['get_voltage: {ask: "VOLT?", waits: perhaps}'], "'yes' or 'no'"),
        (['output_on: "OUTP?"'], "its answer would never be read"),
        (['output_on: {send: "OUTP ON", settle: 2}'], "2"),
        (['output_on: {send: "OUTP ON", settle: 2 h}'], "60 s"),
        (["output_on: {settle: 2 s}"], "{send: ..., settle: ...}"),
        (["output_off: none"], "no instrument in this role can do without"),
        (['measure: {voltage: "V?"}'], "'current' is missing"),
        (['measure: {voltage: "V?", currant: "I?"}'], "did you mean 'current'?"),
        (['measure: {ask: "M?", voltage: 1, current: {field: 2, unit: K}}'], "unknown unit 'K'"),
        (['set_voltage: "VOLT {voltage_vpp:.3f}"'], "unknown value 'voltage_vpp'"),
        (['set_overvoltage: "VOLT {current_a:.3f}"'], "unknown value 'current_a'"),
        (['set_voltage: "VOLT"'], "would never reach the instrument"),
        (['prepare: ["INST:NSEL {output};:OUTP ON"]'], "unknown value 'output'"),
    ],
)
def test_a_mistake_is_refused_at_its_place(tmp_path: Path, lines: list[str], told: str) -> None:
    assert told in refusal(tmp_path, *lines)


def test_what_switches_something_on_is_never_sent_before_a_run(tmp_path: Path) -> None:
    assert "switches something on" in refusal(tmp_path, 'output_on: "OUTP ON"', 'prepare: ["*CLS", "OUTP ON"]')
