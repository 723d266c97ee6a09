"""A journal tells which steps were left out and which searches failed; neither leaves anything to go on with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any

from benchctl.documents.sequence_file.bench_steps import Set
from benchctl.measure.conditions import UNDRIVEN, Conditions
from benchctl.runner.engine.progress import Progress, progress_of
from benchctl.runner.plan import expand
from tests.runner.rig import POWER_ON_LINE, amplifier_file, bench_file, sequence_file

SET_4_OHM = "set: {load: 4 ohm, frequency: 1 kHz}"
FIND = "find_clean_level: {thd_n: 1 %}"
FOUND = {
    "event": "clean level",
    "load_ohm": 4.0,
    "frequency_hz": 1000.0,
    "driven": ["A", "B"],
    "level_v": 0.8,
    "thd_n": 0.01,
}
FAILED: Mapping[str, Any] = {}
LAST = "hold: {for: 1 h}"


def after(*steps: tuple[str, Mapping[str, Any]]) -> Progress:
    """The progress of a run whose steps each wrote one more event, or none, or were left out for a reason.

    Whether a load of 2 or of 4 ohm is connected follows from the last `set` that was not left out.
    """
    plan = expand(sequence_file(*(step for step, _ in steps), LAST), amplifier_file(), bench_file())
    events: list[Mapping[str, Any]] = []
    at = replace(UNDRIVEN, supply_set_v=14.4)
    for index, (planned, (_, told)) in enumerate(zip(plan, steps, strict=False)):
        place = {"index": index, "step": planned.label}
        events.append(_event("step started", place, at) | {"settings": {"kind": planned.step.kind}})
        if isinstance(planned.step, Set) and "left_out" not in told:
            at = replace(at, load_ohm=planned.step.load_ohm, frequency_hz=1e3)
        events += [told] if "event" in told else []
        events.append(_event("step finished", place, at) | ({} if "event" in told else told))
    return progress_of(plan, events)


def _event(kind: str, place: Mapping[str, Any], at: Conditions) -> dict[str, Any]:
    return {"event": kind, **place, "conditions": asdict(at)}


ON = ((POWER_ON_LINE, FAILED), (SET_4_OHM, FAILED))


def test_a_clean_level_that_was_found_is_there_to_go_on_with() -> None:
    assert after(*ON, (FIND, FOUND)).clean_levels[4.0, 1000.0, ("A", "B")].level_v == 0.8


def test_a_search_that_failed_leaves_no_level_of_an_earlier_one_behind() -> None:
    """As in the run itself, where the step after it would have had no level to play."""
    assert after(*ON, (FIND, FOUND), (FIND, FAILED)).clean_levels == {}


def test_a_search_that_failed_elsewhere_takes_nothing_away() -> None:
    elsewhere = (("set: {load: 2 ohm}", FAILED), (FIND, FAILED))
    assert list(after(*ON, (FIND, FOUND), *elsewhere).clean_levels) == [(4.0, 1000.0, ("A", "B"))]


def test_a_search_that_was_left_out_takes_nothing_away() -> None:
    left_out = {"left_out": "idle_current must be below 1 A, and was never measured"}
    assert list(after(*ON, (FIND, FOUND), (FIND, left_out)).clean_levels) == [(4.0, 1000.0, ("A", "B"))]


def test_a_setting_that_was_left_out_is_not_what_the_bench_is_set_to() -> None:
    left_out = {"left_out": "idle_current must be below 1 A, and was never measured"}
    assert after(*ON, ("set: {load: 2 ohm}", left_out)).conditions.load_ohm == 4.0
