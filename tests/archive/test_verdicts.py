"""Every relation of a criterion with every kind of figure: an interval, a bound, and what nothing is known of."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchctl.archive.verdicts import Earlier, judged_by, reference_of
from benchctl.documents.model.criteria import Criterion, Relation
from benchctl.documents.sequence_file.measuring_steps import MeasureIdle
from benchctl.measure.budget.figure import Bound, Figure
from benchctl.measure.conditions import Conditions


def figure(value: float, u: float | None = None, bound: Bound = "") -> Figure:
    return Figure("dc_offset", value, "V", expanded_uncertainty=u, bound=bound)


def verdict(of: Figure, relation: Relation, bound: float, *, about_one: bool = False) -> str:
    return judged_by(of, Criterion(relation=relation, bound=bound, unit="V", about_one=about_one)).verdict


@pytest.mark.parametrize(
    ("relation", "passes", "inconclusive", "fails"),
    [
        ("below", [-50.0, 8.0, 9.0], [9.1, 10.0, 11.0], [11.1, 50.0]),
        ("above", [11.0, 12.0, 50.0], [9.0, 10.0, 10.9], [8.9, -50.0]),
        ("within", [0.0, 9.0, -9.0], [9.1, -9.1, 11.0, -11.0], [11.1, -11.1]),
        ("outside", [11.1, -11.1], [9.1, -9.1, 11.0, -11.0], [0.0, 9.0, -9.0]),
    ],
)
def test_a_value_known_to_one_either_way_is_held_against_ten_with_all_that_it_may_be(
    relation: Relation, passes: list[float], inconclusive: list[float], fails: list[float]
) -> None:
    found = {value: verdict(figure(value, 1.0), relation, 10.0) for value in (*passes, *inconclusive, *fails)}
    wanted = {"passes": passes, "inconclusive": inconclusive, "fails": fails}
    assert found == {value: word for word, values in wanted.items() for value in values}


@pytest.mark.parametrize(
    ("bound", "relation", "below_it", "at_it", "above_it"),
    [
        ("at most", "below", "inconclusive", "passes", "passes"),
        ("at most", "above", "inconclusive", "inconclusive", "fails"),
        ("at most", "within", "inconclusive", "inconclusive", "inconclusive"),
        ("at most", "outside", "inconclusive", "inconclusive", "inconclusive"),
        ("at least", "below", "fails", "inconclusive", "inconclusive"),
        ("at least", "above", "passes", "passes", "inconclusive"),
        ("at least", "within", "fails", "inconclusive", "inconclusive"),
        ("at least", "outside", "passes", "inconclusive", "inconclusive"),
        ("", "below", "inconclusive", "inconclusive", "inconclusive"),
        ("", "above", "inconclusive", "inconclusive", "inconclusive"),
        ("", "within", "inconclusive", "inconclusive", "inconclusive"),
        ("", "outside", "inconclusive", "inconclusive", "inconclusive"),
    ],
)
def test_a_bound_of_twenty_is_held_against_a_limit_below_it_at_it_and_above_it(
    bound: Bound, relation: Relation, below_it: str, at_it: str, above_it: str
) -> None:
    """At most 20 may be any less, minus 1000 too, and at least 20 any more; without a bound or an uncertainty nothing
    is known."""
    found = [verdict(figure(20.0, None, bound), relation, limit) for limit in (10.0, 20.0, 30.0)]
    assert found == [below_it, at_it, above_it]


@pytest.mark.parametrize(
    ("value", "u", "word"),
    [
        (1.0, 0.05, "passes"),
        (1.2, 0.05, "passes"),
        (0.86, 0.05, "passes"),  # 0.81 to 0.91, and 1 / 1.25 is 0.8
        (1.22, 0.05, "inconclusive"),
        (0.82, 0.05, "inconclusive"),
        (1.31, 0.05, "fails"),
        (0.74, 0.05, "fails"),
        (1.0, 0.5, "inconclusive"),
    ],
)
def test_what_is_one_where_all_is_well_may_be_off_by_the_same_ratio_either_way(
    value: float, u: float, word: str
) -> None:
    assert verdict(figure(value, u), "within", 1.25, about_one=True) == word


def test_a_verdict_changes_nothing_else_of_the_figure() -> None:
    judged = judged_by(figure(3.0, 0.5), Criterion(relation="outside", bound=1.0, unit="V"))
    assert (judged.value, judged.expanded_uncertainty, judged.unit) == (3.0, 0.5, "V")


COLD = Figure("idle_current", 2.0, "A", expanded_uncertainty=0.03, coverage_factor=2.0)
CRITERION = Criterion(relation="within", bound=0.1, unit="A", of="cold", is_part=True)
AT_4_OHM, AT_2_OHM = Conditions(load_ohm=4.0), Conditions(load_ohm=2.0)


def against(text: str, value: float, uncertainty: float = 0.04) -> str:
    """The verdict on an idle current against one of 2 A +- 30 mA."""
    (criterion,) = MeasureIdle.model_validate({"expect": {"idle_current": text}}).expect.values()
    warm = replace(COLD, value=value, expanded_uncertainty=uncertainty)
    return judged_by(warm, criterion, COLD).verdict


@pytest.mark.parametrize(
    ("text", "value", "verdict"),
    [
        # The difference is known to sqrt(30^2 + 40^2) = 50 mA.
        ("within 200 mA of cold_idle", 2.14, "passes"),
        ("within 200 mA of cold_idle", 2.16, "inconclusive"),
        ("within 200 mA of cold_idle", 2.26, "fails"),
        ("within 200 mA of cold_idle", 1.74, "fails"),
        ("outside 200 mA of cold_idle", 2.26, "passes"),
        # Of 2 A, 10 % are 200 mA; a part of 1.1 is known to sqrt(40^2 + (1.1 x 30)^2) mA over 2 A, 2.6 %.
        ("within 10 % of cold_idle", 2.14, "passes"),
        ("within 10 % of cold_idle", 2.2, "inconclusive"),
        ("within 10 % of cold_idle", 2.26, "fails"),
        ("below 110 % of cold_idle", 2.14, "passes"),
        ("below 110 % of cold_idle", 2.26, "fails"),
        ("above 90 % of cold_idle", 1.86, "passes"),
        ("above 90 % of cold_idle", 1.74, "fails"),
    ],
)
def test_a_figure_told_from_an_earlier_one_is_judged_with_both_uncertainties(
    text: str, value: float, verdict: str
) -> None:
    assert against(text, value) == verdict


def test_without_the_earlier_figure_or_where_it_is_a_bound_nothing_can_be_said() -> None:
    assert judged_by(COLD, CRITERION, None).verdict == "inconclusive"
    bound = replace(COLD, bound="at least", expanded_uncertainty=None)
    assert judged_by(COLD, CRITERION, bound).verdict == "inconclusive"
    assert judged_by(bound, CRITERION, COLD).verdict == "inconclusive"


def test_the_earlier_figure_is_the_latest_one_of_the_step() -> None:
    first, second = Earlier(COLD, AT_4_OHM), Earlier(replace(COLD, value=3.0), AT_4_OHM)
    assert reference_of(COLD, AT_2_OHM, CRITERION, {"cold": [first, second]}) == second.figure


def test_of_a_step_done_at_several_loads_the_figure_at_the_same_load_counts() -> None:
    named = {"cold": [Earlier(COLD, AT_4_OHM), Earlier(replace(COLD, value=3.0), AT_2_OHM)]}
    assert reference_of(COLD, AT_4_OHM, CRITERION, named) == COLD
    assert reference_of(COLD, Conditions(load_ohm=8.0), CRITERION, named) is None


@pytest.mark.parametrize(
    ("own_u", "other_u", "is_part", "word"),
    [
        (0.0, 0.0, False, "passes"),  # 5 - 4 = 1
        (0.1, 0.0, False, "inconclusive"),
        (0.0, 0.1, False, "inconclusive"),
        (0.0, 0.0, True, "passes"),  # 5 / 4 = 1.25
        (0.9, 0.0, True, "inconclusive"),
        (0.0, 0.9, True, "inconclusive"),
    ],
)
def test_each_of_the_two_uncertainties_counts_and_none_is_added(
    own_u: float, other_u: float, is_part: bool, word: str
) -> None:
    bound = 1.3 if is_part else 1.05
    criterion = Criterion(relation="below", bound=bound, unit="V", of="cold", is_part=is_part)
    assert judged_by(figure(5.0, own_u), criterion, figure(4.0, other_u)).verdict == word


@pytest.mark.parametrize(("earlier", "word"), [(0.0, "inconclusive"), (1.0, "passes")])
def test_nothing_is_a_part_of_nothing(earlier: float, word: str) -> None:
    criterion = Criterion(relation="below", bound=2.0, unit="1", of="cold", is_part=True)
    assert judged_by(figure(1.0, 0.0), criterion, figure(earlier, 0.0)).verdict == word
