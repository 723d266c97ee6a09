"""Where an earlier part of a run had come, as its journal tells it."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

import pytest

from benchctl.errors import UsageError
from benchctl.measure.conditions import UNDRIVEN, Conditions
from benchctl.runner.engine.progress import Progress, progress_of
from benchctl.runner.plan import expand
from tests.runner.rig import POWER_ON_LINE, amplifier_file, bench_file, sequence_file

LAST = "hold: {for: 1 h}"
NOTHING: dict[str, Any] = {}


def finished(*steps: str, left: Conditions | None = UNDRIVEN, then: tuple[str, ...] = (LAST,)) -> Progress:
    """The progress of a run that has finished these steps and left the bench so, and has not begun the others.

    Without `left` it is a run of an earlier version, which kept no record of that.
    """
    plan = expand(sequence_file(*steps, *then), amplifier_file(), bench_file())
    told = NOTHING if left is None else {"conditions": asdict(left)}
    events: list[dict[str, Any]] = []
    for index, planned in enumerate(plan[: len(steps)]):
        place = {"index": index, "step": planned.label, **told}
        events += [{"event": "step started", "settings": {"kind": planned.step.kind}, **place}]
        events += [{"event": "step finished", **place}]
    return progress_of(plan, events)


ON = Conditions(4.0, 1e3, 0.1, "set", 13.0, ("A", "B"))


def test_it_goes_on_with_the_first_step_that_was_not_finished() -> None:
    assert finished(POWER_ON_LINE, "hold: {for: 1 s}").next_index == 2


def test_an_amplifier_that_was_on_is_switched_on_again_and_one_that_was_off_is_not() -> None:
    assert finished(POWER_ON_LINE, left=ON).power_on is not None
    assert finished(POWER_ON_LINE, "power_off", left=UNDRIVEN).power_on is None


def test_the_channels_that_were_set_to_be_driven_are_so_again() -> None:
    assert finished(POWER_ON_LINE, "set: {driven: [B]}").driven == ("B",)
    assert finished(POWER_ON_LINE, "set: {driven: [B]}", "set: {driven: all}").driven == "all"
    assert finished(POWER_ON_LINE).driven == "all"


def test_where_a_step_left_inputs_undriven_nobody_knows_where_a_hand_has_left_the_plugs() -> None:
    assert finished(POWER_ON_LINE, "find_clean_level: {driven: [B]}").moves_plugs
    assert finished(POWER_ON_LINE, then=("find_clean_level: {driven: [B]}", LAST)).moves_plugs
    assert not finished(POWER_ON_LINE, "find_clean_level").moves_plugs


def test_the_bench_is_set_as_the_last_finished_step_left_it() -> None:
    assert finished(POWER_ON_LINE, "set: {load: 4 ohm}", left=ON).conditions == ON


def test_before_a_step_that_switches_all_off_only_the_frequency_is_set_again() -> None:
    then = ("power_off", POWER_ON_LINE, "measure_continuous: {level: 1 V, for: 1 s}")
    progress = finished(POWER_ON_LINE, left=ON, then=then)
    assert progress.power_on is None
    assert progress.conditions == replace(UNDRIVEN, frequency_hz=1e3)


def test_a_run_that_did_not_keep_what_the_bench_was_set_to_is_not_gone_on_with() -> None:
    with pytest.raises(UsageError, match="begun by an earlier version"):
        finished(POWER_ON_LINE, left=None)
    assert finished(POWER_ON_LINE, left=None, then=("power_off",)).next_index == 1


def test_a_run_with_nothing_left_to_perform_has_come_to_the_end_of_its_plan() -> None:
    plan = expand(sequence_file("power_off"), amplifier_file(), bench_file())
    assert progress_of(plan, [{"event": "step finished", "index": 0, "step": "1 power_off"}]).next_index == len(plan)


def test_a_journal_of_another_sequence_is_refused() -> None:
    plan = expand(sequence_file("power_off", LAST), amplifier_file(), bench_file())
    with pytest.raises(UsageError, match="'1 power_on' is not in the sequence"):
        progress_of(plan, [{"event": "step finished", "index": 0, "step": "1 power_on"}])
