"""find_lowest_supply on the simulated bench: the amplifier's own low-voltage protection is found from both sides."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.measured import Measured, hazards_of, measured, within_uncertainty
from tests.runner.rig import Edits

NO_PROBE: Edits = {
    "  supply_voltage: {oscilloscope: 4, probe: {kind: single-ended, ratio: 10, rating: 300 V, accuracy: 0.5 %}}\n": ""
}
# The HX 2150 falls silent below 9.5 V at its terminals and plays again from half a volt more, as its simulation says.
SILENT_V, WAKES_V = 9.5, 10.0
NEAR = "find_lowest_supply: {level: 100 mV, dwell: 500 ms}"


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(tmp_path_factory.mktemp("run"), "set: {supply: 10.6 V}", NEAR, "measure_idle: {for: 1 s}")


def test_the_voltage_below_which_it_is_silent_is_that_of_its_protection(found: Measured) -> None:
    assert within_uncertainty(found.figure("lowest_playing_voltage"), SILENT_V)


def test_the_voltage_from_which_it_plays_again_is_higher(found: Measured) -> None:
    assert within_uncertainty(found.figure("lowest_waking_voltage"), WAKES_V)


def test_half_a_step_is_a_part_of_the_uncertainty(found: Measured) -> None:
    """0.2 V: anywhere between is equally likely, so u = 0.1 V / sqrt 3 (JCGM 100, 4.3.7)."""
    for name in ("lowest_playing_voltage", "lowest_waking_voltage"):
        assert (found.figure(name).expanded_uncertainty or 0.0) >= 2.0 * 0.1 / 3.0**0.5


def test_the_amplifier_is_left_as_it_was_found(found: Measured) -> None:
    assert found.outcome.error is None
    assert found.figure("supply_output_voltage").value == pytest.approx(10.6, abs=0.03)
    assert found.figure("idle_current").value > 0.5
    assert found.verification.agrees


def test_without_a_probe_the_supplys_own_reading_tells_the_voltage(tmp_path: Path) -> None:
    """The leads take some millivolts of a small tone's current."""
    run = measured(tmp_path, "set: {supply: 10.5 V}", NEAR, bench=NO_PROBE)
    assert run.figure("lowest_playing_voltage").value == pytest.approx(SILENT_V, abs=0.13)
    assert run.verification.agrees


def test_one_that_plays_to_the_end_is_known_to_play_at_most_there(tmp_path: Path) -> None:
    run = measured(tmp_path, "set: {supply: 11 V}", NEAR.replace("dwell", "to: 10.7 V, dwell"))
    lowest = run.figure("lowest_playing_voltage")
    assert (lowest.bound, run.figures("lowest_waking_voltage")) == ("at most", [])
    assert lowest.value == pytest.approx(10.8, abs=0.15)


def test_preflight_refuses_what_the_bench_would_stop() -> None:
    guarded = {"  supply_current: {above: 110 A": "  supply_voltage: {below: 10 V}\n  supply_current: {above: 110 A"}
    assert any("the bench stops a run below 10 V" in hazard for hazard in hazards_of(NEAR, bench=guarded))
    assert any(
        "ends at 15 V and begins at 14.4 V" in hazard for hazard in hazards_of(NEAR.replace("dwell", "to: 15 V, dwell"))
    )
