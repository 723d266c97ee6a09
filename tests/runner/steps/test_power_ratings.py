"""Power at 1 % and at 10 % of distortion, and power stated at one voltage at the terminals, on the simulated bench."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.measured import Measured, hazards_of, measured, within_uncertainty
from tests.runner.rig import Edits

NO_PROBE: Edits = {
    "  supply_voltage: {oscilloscope: 4, probe: {kind: single-ended, ratio: 10, rating: 300 V, accuracy: 0.5 %}}\n": ""
}
# Rails that neither sag nor ripple, below what the plate's loads would overload.
STIFF: Edits = {"rail_stiffness: 360 mohm": "rail_stiffness: 10 mohm", "rail: 41 V ": "rail: 33 V "}


@pytest.fixture(scope="module")
def ratings(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(
        tmp_path_factory.mktemp("ratings"),
        "find_clean_level: {thd_n: 1 %, from: 500 mV, to: 2 V}",
        "measure_continuous: {for: 1 s}",
        "find_clean_level: {thd_n: 10 %, from: 500 mV, to: 2 V}",
        "measure_continuous: {for: 1 s}",
        "state_power: {at: 14.4 V, from: 500 mV, to: 2 V}",
        amplifier=STIFF,
        bench={"seed: 2150": "seed: 2150\n  supply_lead: 8 mohm"},
    )


def test_each_row_says_the_distortion_that_its_level_was_searched_for(ratings: Measured) -> None:
    power = ratings.table[(ratings.table["figure"] == "continuous_power") & (ratings.table["channel"] == "A")]
    assert power["thd_limit"].tolist() == [0.01, 0.1]
    assert ratings.table[ratings.table["drive"] == "undriven"]["thd_limit"].isna().all()


def test_a_sine_that_is_clipped_to_10_percent_has_1_229_times_the_power_of_one_at_1_percent(ratings: Measured) -> None:
    """Closed form of the symmetrically hard-clipped sine: 1.229360."""
    at_1, at_10 = (figure for figure in ratings.figures("continuous_power") if figure.channel == "A")
    assert at_10.value / at_1.value == pytest.approx(1.22936, rel=0.01)


def test_only_power_within_the_distortion_of_the_plate_is_judged_by_it(ratings: Measured) -> None:
    at_1, at_10 = (figure for figure in ratings.figures("continuous_power") if figure.channel == "A")
    assert (at_1.verdict != "", at_10.verdict) == (True, "")


def test_power_per_volt_is_that_of_rails_that_follow_the_supply(ratings: Measured) -> None:
    """The swing is k V - s, so dP/dV = 2 P k / (k V - s): 33 V of rail at 14.4 V, of which 1.6 V are left."""
    clean = next(figure for figure in ratings.figures("continuous_power") if figure.channel == "A")
    k = 33.0 / 14.4
    at_v = ratings.figures("supply_voltage")[0].value
    expected = 2.0 * clean.value * k / (k * at_v - 1.6)
    assert ratings.figure("power_per_volt", "A").value == pytest.approx(expected, rel=0.03)


def test_the_stated_power_is_what_the_amplifier_gives_with_that_voltage_at_its_terminals(ratings: Measured) -> None:
    """Scaled by the swing from the terminals' voltage under drive."""
    clean = next(figure for figure in ratings.figures("continuous_power") if figure.channel == "A")
    swing = [33.0 / 14.4 * volts - 1.6 for volts in (14.4, ratings.figures("supply_voltage")[0].value)]
    stated = ratings.figure("stated_power", "A")
    assert within_uncertainty(stated, clean.value * (swing[0] / swing[1]) ** 2)
    row = ratings.table[ratings.table["figure"] == "stated_power"].iloc[0]
    assert (row["supply_set_v"], row["supply_at"]) == (14.4, "stated")
    assert ratings.verification.agrees


def test_the_bench_is_left_at_the_voltage_that_it_had(ratings: Measured) -> None:
    last = [event for event in ratings.events if event["event"] == "step finished"][-2]
    assert (last["conditions"]["supply_set_v"], last["conditions"]["supply_at"]) == (14.4, "")


def test_preflight_refuses_to_state_power_where_nothing_measures_at_the_terminals() -> None:
    assert any("state_power needs" in hazard for hazard in hazards_of("state_power: {at: 14.4 V}", bench=NO_PROBE))


def test_preflight_refuses_a_voltage_that_the_amplifier_does_not_bear() -> None:
    hazards = hazards_of("state_power: {at: 14.4 V, higher_by: 2 V}")
    assert any("would be set to 16.4 V" in hazard and "no more than 16 V" in hazard for hazard in hazards)


def test_on_a_bench_without_sight_of_the_terminals_the_voltage_holds_at_the_supply(tmp_path: Path) -> None:
    either = "power_on: {voltage: 14.4 V, current_limit: 90 A, at: terminals or supply}"
    run = measured(tmp_path, "measure_idle: {for: 1 s}", power_on=either, bench=NO_PROBE)
    assert run.outcome.error is None
    assert set(run.table["supply_at"]) == {""}
