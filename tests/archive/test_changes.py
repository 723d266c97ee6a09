"""What counts as changed between two runs: a difference beyond its uncertainty, and nothing less."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.archive.changes import Change, compared_figures
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions


def figure(value: float, uncertainty: float | None = 0.3, **fields: object) -> Figure:
    return replace(Figure("idle_current", value, "A", uncertainty, 2.0), **fields)  # type: ignore[arg-type]


def entry(*figures: Figure, step: str = "2 measure_idle", load_ohm: float | None = None) -> FiguresEntry:
    return FiguresEntry(step, "idle", {}, {}, {}, Conditions(load_ohm=load_ohm), figures)


def changed_figures(before: list[FiguresEntry], after: list[FiguresEntry]) -> list[Change]:
    return [compared for compared in compared_figures(before, after) if compared.is_change]


@pytest.mark.parametrize(("after", "uncertainty", "is_change"), [(1.49, 0.4, False), (1.51, 0.4, True)])
def test_a_difference_counts_beyond_the_root_of_the_squares(after: float, uncertainty: float, is_change: bool) -> None:
    """U 0.3 and V 0.4 make 0.5."""
    found = changed_figures([entry(figure(1.0))], [entry(figure(after, uncertainty))])
    assert bool(found) is is_change


def test_two_limits_of_error_together_count_with_a_factor_of_2() -> None:
    """Each anywhere within 1 A, stated for 95.45 %: the difference has a triangle of 2 A, of which 1.573 A hold as
    much; the root of the squares of both U would be 1.35 A."""
    limited = {"expanded_uncertainty": 0.9545, "coverage_factor": 0.9545 * math.sqrt(3.0)}
    before = [entry(figure(1.0, **limited))]
    assert not changed_figures(before, [entry(figure(2.57, **limited))])
    assert changed_figures(before, [entry(figure(2.7, **limited))])


@settings(max_examples=100, derandomize=True)
@given(st.floats(-1e3, 1e3), st.floats(0.0, 1e2))
def test_nothing_has_changed_against_itself(value: float, uncertainty: float) -> None:
    entries = [entry(figure(value, uncertainty))]
    assert changed_figures(entries, entries) == []


@pytest.mark.parametrize(("value", "is_change"), [(0.9, False), (1.2, False), (1.4, True)])
def test_a_bound_differs_from_what_lies_wholly_beyond_it(value: float, is_change: bool) -> None:
    bound = figure(1.0, None, bound="at most")
    assert bool(changed_figures([entry(bound)], [entry(figure(value))])) is is_change
    assert bool(changed_figures([entry(figure(value))], [entry(bound)])) is is_change


def test_two_bounds_tell_no_change() -> None:
    low, high = figure(1.0, None, bound="at most"), figure(9.0, None, bound="at most")
    assert changed_figures([entry(low)], [entry(high)]) == []


def test_a_value_of_unknown_uncertainty_tells_no_change() -> None:
    assert changed_figures([entry(figure(1.0, None))], [entry(figure(9.0))]) == []


def test_what_only_one_run_has_is_a_change() -> None:
    (gone,) = changed_figures([entry(figure(1.0))], [])
    assert (gone.after, str(gone)) == (None, "idle_current in step '2 measure_idle': was 1 A, is not measured")
    (new,) = changed_figures([], [entry(figure(1.0))])
    assert (new.before, new.figure.value) == (None, 1.0)


@pytest.mark.parametrize("other", [{"step": "9 measure_idle"}, {"load_ohm": 2.0}])
def test_figures_of_another_step_or_load_are_others(other: dict[str, object]) -> None:
    before, after = entry(figure(1.0)), entry(figure(9.0), **other)  # type: ignore[arg-type]
    found = changed_figures([before], [after])
    assert [(change.before is None, change.after is None) for change in found] == [(False, True), (True, False)]


def test_every_figure_is_compared() -> None:
    same, other, gone = figure(1.0), figure(1.0, name="idle_power"), figure(1.0, name="dc_offset")
    before = [entry(same, other, gone)]
    after = [entry(figure(1.1), figure(9.0, name="idle_power"), figure(1.0, name="clean_level"))]
    found = {change.figure.name: (change.is_told, change.is_change) for change in compared_figures(before, after)}
    assert found == {
        "idle_current": (True, False),
        "idle_power": (True, True),
        "dc_offset": (True, True),
        "clean_level": (True, True),
    }


@pytest.mark.parametrize(
    ("before", "after", "is_told"),
    [
        (figure(1.0), figure(9.0), True),
        (figure(1.0), figure(9.0, None, bound="at most"), True),
        (figure(1.0, None), figure(9.0), False),
        (figure(1.0, None), figure(9.0, None, bound="at most"), False),
        (figure(1.0, None, bound="at most"), figure(9.0, None, bound="at most"), False),
    ],
)
def test_what_cannot_be_held_against_each_other_is_not_told(before: Figure, after: Figure, is_told: bool) -> None:
    (compared,) = compared_figures([entry(before)], [entry(after)])
    assert compared.is_told is is_told
