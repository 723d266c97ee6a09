"""Where an earlier part of a run had come, as its journal tells it."""

from __future__ import annotations

from typing import Any

import pytest

from benchctl.errors import UsageError
from benchctl.runner.plan import expand
from benchctl.runner.progress import Progress, progress_of
from tests.runner.rig import POWER_ON_LINE, amplifier_file, bench_file, sequence_file

LAST = "hold: {for: 1 h}"


def finished(*steps: str) -> Progress:
    """The progress of a run that has finished all of these steps, and not the hold after them."""
    plan = expand(sequence_file(*steps, LAST), amplifier_file(), bench_file())
    events: list[dict[str, Any]] = []
    for index, planned in enumerate(plan[:-1]):
        events += [{"event": kind, "index": index, "step": planned.label} for kind in ("step started", "step finished")]
    return progress_of(plan, events)


def test_it_goes_on_with_the_first_step_that_was_not_finished() -> None:
    assert finished(POWER_ON_LINE, "hold: {for: 1 s}").next_index == 2


def test_an_amplifier_that_was_on_is_switched_on_again_and_one_that_was_off_is_not() -> None:
    assert finished(POWER_ON_LINE).power_on is not None
    assert finished(POWER_ON_LINE, "power_off").power_on is None


def test_load_frequency_and_supply_are_those_set_last() -> None:
    conditions = finished(
        POWER_ON_LINE, "set: {load: 4 ohm, frequency: 1 kHz}", "set: {load: 2 ohm}", "set: {supply: 13 V}"
    ).conditions
    assert (conditions.load_ohm, conditions.frequency_hz, conditions.supply_v) == (2.0, 1000.0, 13.0)


def test_a_level_that_drives_the_amplifier_goes_on_driving_it() -> None:
    assert finished(POWER_ON_LINE, "set: {load: 4 ohm, level: 100 mV}").conditions.level_v == 0.1
    assert finished(POWER_ON_LINE, "set: {level: 100 mV}", "set: {frequency: 2 kHz}").conditions.level_v == 0.1


@pytest.mark.parametrize(
    "silencing", ["measure_idle: {for: 1 s}", "set: {load: 2 ohm}", "cool: {heatsink: below 45 degC}"]
)
def test_a_step_that_left_the_amplifier_undriven_leaves_it_so(silencing: str) -> None:
    driven = (POWER_ON_LINE, "set: {load: 4 ohm, level: 100 mV}")
    assert finished(*driven, silencing).conditions.level_v is None


def test_a_run_with_nothing_left_to_perform_has_come_to_the_end_of_its_plan() -> None:
    plan = expand(sequence_file("power_off"), amplifier_file(), bench_file())
    assert progress_of(plan, [{"event": "step finished", "index": 0, "step": "1 power_off"}]).next_index == len(plan)


def test_a_journal_of_another_sequence_is_refused() -> None:
    plan = expand(sequence_file("power_off", LAST), amplifier_file(), bench_file())
    with pytest.raises(UsageError, match="'1 power_on' is not in the sequence"):
        progress_of(plan, [{"event": "step finished", "index": 0, "step": "1 power_on"}])
