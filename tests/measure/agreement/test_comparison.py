"""Two sights of one quantity: when they agree, what is said where they do not, and which figures that takes with it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchctl.documents.model.figures import FIGURES
from benchctl.measure.agreement.comparison import Comparison, Sight, alike, contradictions, doubted
from benchctl.measure.agreement.reliance import OUTPUT_VOLTAGE, RECORDS, RELIES_ON, SUPPLY_CURRENT
from benchctl.measure.budget.figure import Figure, Requirement, judge

HALF = Comparison(
    SUPPLY_CURRENT,
    "A",
    Sight("the supply reads", 11.9, 0.1),
    Sight("the clamp shows", 23.8, 0.5),
    -0.6,
    0.6,
    "Check whether the supply has a second unit in parallel",
)
SAME = replace(HALF, first=Sight("the supply reads", 23.6, 0.1))
OUTPUT_A = replace(HALF, quantity=OUTPUT_VOLTAGE, channel="A")


def figure(name: str, verdict: str = "passes", channel: str = "") -> Figure:
    return Figure(name, 0.747, "1", 0.012, 2.0, channel=channel, verdict=verdict)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("first", "agrees"), [(23.2, True), (23.8, True), (24.4, True), (23.1, False), (24.5, False), (-23.8, False)]
)
def test_two_sights_agree_as_long_as_they_are_no_further_apart_than_their_room(first: float, agrees: bool) -> None:
    """0.6 A on either side; the ends themselves belong to it, but for rounding."""
    room = replace(HALF, at_least=-0.6 - 1e-12, at_most=0.6 + 1e-12)
    assert replace(room, first=Sight("the supply reads", first)).agrees is agrees


def test_where_there_is_no_end_nothing_is_too_far() -> None:
    assert replace(HALF, at_least=None).agrees
    assert not replace(HALF, at_most=None).agrees


def test_a_contradiction_says_what_each_shows_by_how_much_and_what_to_look_at() -> None:
    assert str(HALF) == (
        "supply current: the supply reads 11.9 A, the clamp shows 23.8 A (11.9 A apart, where at most 600 mA can be "
        "right). Check whether the supply has a second unit in parallel"
    )
    assert str(OUTPUT_A).startswith("output voltage of A: ")
    assert str(SAME) == "supply current: the supply reads 23.6 A, the clamp shows 23.8 A"


def test_a_figure_that_rests_on_a_contradiction_keeps_its_value_and_has_no_verdict() -> None:
    (efficiency,) = doubted([figure("efficiency")], [SAME, HALF])
    assert (efficiency.value, efficiency.expanded_uncertainty) == (0.747, 0.012)
    assert (efficiency.verdict, efficiency.contradiction) == ("inconclusive", str(HALF))


def test_a_figure_that_was_not_judged_is_not_judged_by_a_contradiction_either() -> None:
    (efficiency,) = doubted([figure("efficiency", "")], [HALF])
    assert (efficiency.verdict, efficiency.contradiction) == ("", str(HALF))


def test_figures_that_do_not_rest_on_it_stay_as_they_are() -> None:
    others = [figure("thd_n"), figure("heatsink_temperature"), figure("continuous_power", channel="A")]
    assert doubted(others, [HALF]) == others
    assert doubted([figure("efficiency")], [SAME]) == [figure("efficiency")]


def test_what_is_wrong_of_one_output_takes_its_figures_and_those_of_all_outputs_together() -> None:
    figures = [figure("continuous_power", channel=channel) for channel in ("A", "B", "total")] + [figure("efficiency")]
    found = {(each.name, each.channel): each.verdict for each in doubted(figures, [OUTPUT_A])}
    assert found == {
        ("continuous_power", "A"): "inconclusive",
        ("continuous_power", "B"): "passes",
        ("continuous_power", "total"): "inconclusive",
        ("efficiency", ""): "inconclusive",
    }


def test_a_contradicted_figure_is_inconclusive_whatever_it_is_held_against() -> None:
    (efficiency,) = doubted([figure("efficiency", "")], [HALF])
    for requirement in (Requirement("above", 0.1), Requirement("below", 0.1), Requirement("within", 10.0)):
        assert judge(efficiency, requirement).verdict == "inconclusive"


def test_every_name_that_rests_on_something_is_that_of_a_figure() -> None:
    names = {name for names in RELIES_ON.values() for name in names or ()}
    assert names <= set(FIGURES)
    assert RELIES_ON[RECORDS] is None


def test_comparisons_are_alike_but_for_rounding() -> None:
    assert alike(HALF, replace(HALF, first=Sight("the supply reads", 11.9 + 1e-8, 0.1)))
    assert not alike(HALF, replace(HALF, first=Sight("the supply reads", 11.91, 0.1)))
    assert not alike(HALF, SAME)
    assert not alike(HALF, replace(HALF, at_most=None))
    assert contradictions([HALF, SAME]) == [HALF]
