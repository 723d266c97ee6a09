"""The last line of a run names what is inconclusive, and why."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from benchctl.archive.journal.simulation import Simulation
from benchctl.cli.shown.closing_line import last_lines
from benchctl.launch.run import Result
from benchctl.measure.budget.figure import Figure
from benchctl.runner.engine.execute import Outcome

REASON = "output A showed distortion below 1 % up to 2 V, the highest level of the search; give `to: 4 V`"


def line(*figures: Figure, **more: Any) -> str:
    return str(last_lines(Result(Outcome(None, (), figures, (), **more), Path("runs/one"), Simulation())))


def test_an_inconclusive_bound_is_named_with_its_reason() -> None:
    bound = Figure("continuous_power", 98.7, "W", channel="A", bound="at least", verdict="inconclusive")
    value = Figure("dc_offset", 0.012, "V", 0.02, 2.0, "B", verdict="passes")
    said = line(replace(bound, bound_reason=REASON), value)
    assert said.startswith(
        f"Finished: 1 verdict passes, 1 inconclusive. Inconclusive: continuous_power of A ≥ 98.7 W ({REASON})."
    )


def test_of_many_the_first_few_are_named_and_the_others_counted() -> None:
    said = line(*(Figure("thd_n", 0.01, "1", 0.001, 2.0, channel, verdict="inconclusive") for channel in "ABCDEF"))
    assert said.count("thd_n of") == 4
    assert "and 2 more." in said


def test_a_failed_verdict_is_named_with_its_value_and_what_it_must_be() -> None:
    air = Figure("ambient_temperature", 23.2, "degC", 1.2, 2.0, verdict="fails")
    of_an_earlier_part = Figure("idle_current", 3.1, "A", 0.1, 2.0, verdict="fails")
    said = line(air, of_an_earlier_part, requirements={air: "above 25 degC"})
    assert "Failed: ambient_temperature 23.2 ± 1.2 degC, must be above 25 degC; idle_current 3.10 ± 0.10 A. " in said


def test_an_inconclusive_verdict_is_named_with_what_it_must_be() -> None:
    power = Figure("continuous_power", 39.6, "W", 3.2, 2.0, "A", verdict="inconclusive")
    said = line(power, requirements={power: "above 40 W, the rating"})
    assert "Inconclusive: continuous_power of A 39.6 ± 3.2 W, must be above 40 W, the rating. " in said


def test_a_drive_that_ended_before_its_time_is_named_with_the_reason() -> None:
    why = "3 soak: the drive ends after 8.78 min of 60 min: the heatsink is at 80.1 degC and is to stay below 80 degC"
    assert f"Ended early: {why}. " in line(early_ends=(why,))


def test_where_all_pass_nothing_is_called_inconclusive() -> None:
    assert "nconclusive" not in line(Figure("dc_offset", 0.012, "V", 0.02, 2.0, "B", verdict="passes"))
