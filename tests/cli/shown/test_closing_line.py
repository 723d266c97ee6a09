"""The last line of a run names what is inconclusive, and why."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from benchctl.archive.journal.simulation import Simulation
from benchctl.cli.shown.closing_line import last_lines
from benchctl.launch.run import Result
from benchctl.measure.budget.figure import Figure
from benchctl.runner.engine.execute import Outcome

REASON = "output A showed distortion below 1 % up to 2 V, the highest level of the search; give `to: 4 V`"


def line(*figures: Figure) -> str:
    return str(last_lines(Result(Outcome(None, (), figures, ()), Path("runs/one"), Simulation())))


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


def test_where_all_pass_nothing_is_called_inconclusive() -> None:
    assert "nconclusive" not in line(Figure("dc_offset", 0.012, "V", 0.02, 2.0, "B", verdict="passes"))
