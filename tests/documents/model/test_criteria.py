"""Criteria are written as a technician says them, in the unit of the figure they judge."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from benchctl.documents.model.criteria import FIGURE_UNITS, Criterion, Expectations, parse_criterion
from benchctl.documents.model.figures import FIGURES
from benchctl.documents.sequence_file.measuring_steps import MeasureResponse


@pytest.mark.parametrize(
    ("text", "unit", "holding", "failing"),
    [
        ("below 2.5 A", "A", [2.4, -3.0], [2.5, 9.0]),
        ("above 140 W", "W", [141.0], [140.0, 0.0]),
        ("within 50 mV", "V", [-0.05, 0.0, 0.05], [0.051, -0.051]),
        ("outside 1 V", "V", [1.1, -1.1], [1.0, 0.0]),
    ],
)
def test_a_criterion_holds_on_its_side_of_the_bound(
    text: str, unit: str, holding: list[float], failing: list[float]
) -> None:
    criterion = parse_criterion(text, unit)
    assert all(criterion.holds(value) for value in holding)
    assert not any(criterion.holds(value) for value in failing)


def test_a_figure_that_is_not_a_number_keeps_no_criterion() -> None:
    for relation in ("below", "above", "within", "outside"):
        assert not Criterion(relation=relation, bound=1.0, unit="V").holds(math.nan)


def test_a_criterion_says_itself_in_words() -> None:
    assert str(parse_criterion("within 50 mV", "V")) == "within 50 mV"


@pytest.mark.parametrize(
    "text",
    ["", "below", "2.5 A", "less than 2.5 A", "below 2.5", "below 2.5 V", "within 0 A", "within -1 A", "below2.5 A"],
)
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        parse_criterion(text, "A")


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.sampled_from(["below", "above", "within", "outside"]), st.floats(1e-6, 1e6), st.sampled_from(["V", "A", "W"]))
def test_what_a_criterion_says_of_itself_reads_back(relation: str, bound: float, unit: str) -> None:
    again = parse_criterion(f"{relation} {bound:.12g} {unit}", unit)
    assert parse_criterion(str(again), unit).bound == pytest.approx(bound, rel=6e-4)


def test_the_fixed_names_of_figures_are_all_there() -> None:
    assert {
        *("idle_current", "dc_offset", "continuous_power", "output_rms", "output_peak", "thd_n", "thd", "efficiency"),
        *("burst_power_clean", "burst_power_first", "burst_power_highest", "burst_power_lowest", "burst_power_last"),
        *("supply_voltage", "supply_current", "supply_current_peak", "heatsink_temperature"),
    } <= set(FIGURE_UNITS)


def test_a_balance_within_1_db_is_neither_above_nor_below() -> None:
    """1 dB is a factor of 1.1220."""
    (criterion,) = balance("within 1 dB").values()
    assert [criterion.holds(value) for value in (0.88, 0.90, 1.0, 1.12, 1.13)] == [False, True, True, True, False]


@pytest.mark.parametrize("text", ["within -1 dB", "within 10 %"])
def test_a_balance_is_about_one_and_not_about_nought(text: str) -> None:
    with pytest.raises(ValidationError, match="within 1 dB"):
        balance(text)


def balance(text: str) -> Expectations:
    return MeasureResponse.model_validate({"expect": {"channel_balance": text}}).expect


@pytest.mark.parametrize("name", FIGURES)
def test_the_criterion_that_is_shown_for_a_figure_is_one(name: str) -> None:
    figure = FIGURES[name]
    assert parse_criterion(figure.example, figure.unit).unit == figure.unit
