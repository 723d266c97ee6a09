"""What is good to know before a run: here, whose calibration no longer counts."""

from __future__ import annotations

import datetime

from benchctl.runner.checks.notes import of_calibration
from tests.runner.rig import bench_file

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
