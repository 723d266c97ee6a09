"""What is good to know before a run: here, whose calibration no longer counts."""

from __future__ import annotations

import datetime

from benchctl.runner.checks.notes import of_calibration, of_left_out
from benchctl.runner.plan import expand
from tests.runner.rig import POWER_ON_LINE, bench_file, files

DUE = {"    driver: generator/scpi99\n": "    driver: generator/scpi99\n    calibration_due: 2027-03-02\n"}


def test_a_calibration_counts_until_the_day_on_which_it_is_due() -> None:
    assert list(of_calibration(bench_file(DUE), datetime.date(2027, 3, 1))) == []
    (note,) = of_calibration(bench_file(DUE), datetime.date(2027, 3, 2))
    assert note.startswith("the generator's calibration was due on 2027-03-02")


def test_an_instrument_without_such_a_date_is_not_told_of() -> None:
    assert list(of_calibration(bench_file(), datetime.date(2099, 1, 1))) == []


def test_what_was_measured_on_the_bench_itself_counts_until_it_is_due() -> None:
    """The notes name together what is due together."""
    origin = "{file: own.yaml, date: 2026-11-26, due: 2027-11-26, before: {measured: 4 ohm, uncertainty: 1 %, "
    entry = f"origin: {origin}temperature_coefficient: 60 ppm/K}}}}, "
    bench = bench_file({"{nominal: 4 ohm, channel: A,": f"{{{entry}nominal: 4 ohm, channel: A,"})
    assert list(of_calibration(bench, datetime.date(2027, 11, 25))) == []
    (note,) = of_calibration(bench, datetime.date(2027, 11, 26))
    assert note.startswith("the calibration of the 4 ohm resistor of output A was due on 2027-11-26")


ASKED = (
    "when: {bench: {load: 2 ohm}}\n    steps: [{hold: {for: 1 s}}]",
    "when: {bench: {supply: 12 V}}\n    steps: [{hold: {for: 2 s}}]",
    "when: {bench: {load: 8 ohm}}\n    steps: [{hold: {for: 3 s}}, {hold: {for: 4 s}}]",
    "when: {bench: {supply: 21 V}}\n    steps: [{hold: {for: 5 s}}, power_off]",
    "when: {amplifier: {channels: above 2}}\n    steps: [{hold: {for: 6 s}}]",
)


def test_steps_are_left_out_where_the_bench_has_no_such_load_or_voltage_and_that_is_said() -> None:
    """The workshop has 4 and 2 ohm for each output, and 20 V; the HX 2150 has two channels."""
    these = files(POWER_ON_LINE, *ASKED)
    plan = expand(these.sequence, these.amplifier, these.bench)
    assert [planned.label for planned in plan] == ["1 power_on", "2.1 hold", "3.1 hold"]
    assert list(of_left_out(these, these.sequence.steps)) == [
        "step 4 (hold) is left out; it is for benches with load 8 ohm",
        "step 5 (hold and power_off) is left out; it is for benches with supply 21 V",
        "step 6 (hold) is left out; it is for amplifiers with channels above 2",
    ]
