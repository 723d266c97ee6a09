"""An amplifier that draws next to nothing did not wake, and nothing is measured of it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchctl.errors import InstrumentError
from tests.runner.rig import NO_CLAMP, POWER_ON, POWER_ON_LINE, Edits, Rig, files, rig

IDLE = "idle_current: 1.6 A"


@contextmanager
def drawing(tmp_path: Path, current: str, says: str = IDLE, bench: Edits | None = None) -> Iterator[Rig]:
    """An amplifier file that says this of its idle current, and a supply that reads so much; no clamp knows better."""
    alone = {**NO_CLAMP, **(bench or {})}
    with rig(tmp_path, files(POWER_ON_LINE, "power_off", amplifier={IDLE: says}, bench=alone)) as found:
        found.begin()
        found.taps.forge("supply", "NSEL 1;:MEAS:CURR?", current)
        yield found


def test_an_amplifier_that_draws_nothing_did_not_wake(tmp_path: Path) -> None:
    """As with a fuse that is blown, or without its turn-on lead."""
    with (
        drawing(tmp_path, "0.002") as bench,
        pytest.raises(
            InstrumentError, match=r"draws 2 mA of the 1.6 A that it should, less than 160 mA: it did not wake"
        ) as caught,
    ):
        bench.do(POWER_ON)
    for word in ("fuse", "turn-on lead", "least_idle_current"):
        assert word in caught.value.advice


def test_a_run_with_an_amplifier_that_did_not_wake_ends_before_anything_is_measured(tmp_path: Path) -> None:
    """The turn-on lead is off in truth: the supply's second output gives too little to wake it."""
    weak_lead = {"remote_turn_on: {by: supply, output: remote, voltage: 12 V}":
                 "remote_turn_on: {by: supply, output: remote, voltage: 3 V}"}  # fmt: skip
    with rig(tmp_path, files(POWER_ON_LINE, "measure_idle: {for: 1 s}", "power_off", bench=weak_lead)) as bench:
        outcome = bench.execute()
        assert "it did not wake" in str(outcome.error)
        assert (outcome.exit_code, outcome.is_safe, outcome.figures) == (5, True, ())


@pytest.mark.parametrize("current", ["0.161", "1.6", "4"])
def test_a_tenth_of_what_the_maker_expects_is_enough(tmp_path: Path, current: str) -> None:
    with drawing(tmp_path, current) as bench:
        bench.do(POWER_ON)
        assert bench.run.guard.energised


@pytest.mark.parametrize(("current", "wakes"), [("0.049", False), ("0.051", True)])
def test_the_amplifier_file_may_say_what_the_least_is(tmp_path: Path, current: str, wakes: bool) -> None:
    with drawing(tmp_path, current, f"{IDLE}\nleast_idle_current: 50 mA") as bench:
        if wakes:
            bench.do(POWER_ON)
        else:
            with pytest.raises(InstrumentError, match="less than 50 mA"):
                bench.do(POWER_ON)


@pytest.mark.parametrize("says", [f"{IDLE}\nleast_idle_current: 0 A", "# no idle current is known"])
def test_where_nothing_is_expected_nothing_is_asked(tmp_path: Path, says: str) -> None:
    with drawing(tmp_path, "0.0", says) as bench:
        bench.do(POWER_ON)


def test_what_lies_below_the_supplys_own_error_at_zero_is_nothing(tmp_path: Path) -> None:
    """0.3 A are expected, and the supply may be 60 mA off: 50 mA are less than it can tell from none."""
    with drawing(tmp_path, "0.05", "idle_current: 300 mA") as bench, pytest.raises(InstrumentError, match="60 mA"):
        bench.do(POWER_ON)


@pytest.mark.parametrize("current", ["0.0", "0.08"])
def test_a_supply_that_cannot_tell_says_so_and_the_run_goes_on(tmp_path: Path, current: str) -> None:
    """80 mA +- 60 mA may be all of the idle current, or none."""
    with drawing(tmp_path, current, "idle_current: 80 mA") as bench:
        bench.do(POWER_ON)
        note = bench.audience.notes[-1]
    assert "not possible to say whether the amplifier is awake" in note
    assert "80 mA" in note


def test_a_first_power_up_of_an_amplifier_that_does_not_wake_is_stopped(tmp_path: Path) -> None:
    ramp = "ramp_supply: {voltage: 14.4 V, current_limit: 3 A, step: 4 V, dwell: 2 s}"
    with rig(tmp_path, files(ramp, "power_off")) as bench:
        bench.taps.forge("supply", "NSEL 1;:MEAS:CURR?", "0.01")
        outcome = bench.execute()
    assert "was stopped at 14.4 V: the amplifier draws 10 mA" in str(outcome.error)
    assert outcome.exit_code == 1
    assert outcome.is_safe
