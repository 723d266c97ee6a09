"""soak on the simulated bench: the simulator's heat balance foretold, its protection noticed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.measured import Measured, hazards_of, measured, within_uncertainty

EARLY_PROTECTION = {"temperature: 95 degC, restart: 75 degC": "temperature: 40 degC, restart: 30 degC"}
# The HX 2150 warms by 0.55 K/W above the workshop's 23 degC; both are parameters of the simulator.
AMBIENT_C, K_PER_W = 23.0, 0.55


@pytest.fixture(scope="module")
def eighth(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """An eighth of rated power, until the end is known."""
    return measured(tmp_path_factory.mktemp("run"), "soak: {for: 40 min, of_rated: 12.5 %, until: within 1 K}")


def test_the_final_temperature_is_that_of_the_heat_balance(eighth: Measured) -> None:
    """Long before it is there: what the supply gives less what the loads get, times the thermal resistance."""
    supply_w = eighth.figure("supply_current").value * eighth.figure("supply_voltage").value
    heat_w = supply_w - eighth.figure("average_power", "total").value
    final = eighth.figure("final_heatsink_temperature")
    assert within_uncertainty(final, AMBIENT_C + K_PER_W * heat_w)
    assert eighth.figure("heatsink_temperature").value < final.value - 20.0


def test_a_soak_ends_as_soon_as_the_end_is_known(eighth: Measured) -> None:
    assert eighth.figure("soak_time").value < 15 * 60
    assert eighth.took_s["soak"] < 15 * 60


def test_the_time_constant_is_the_heatsinks(eighth: Measured) -> None:
    """0.55 K/W times 900 J/K is 495 s."""
    assert eighth.figure("heatsink_time_constant").value == pytest.approx(495.0, rel=0.1)


def test_an_eighth_of_150_w_is_19_w(eighth: Measured) -> None:
    """By the nominal gain; the true one is a tenth of a decibel from it."""
    assert eighth.figure("average_power", "A").value == pytest.approx(150.0 / 8.0, rel=0.03)


def test_power_falls_with_the_warming_resistor_by_no_more_than_its_coefficient(eighth: Measured) -> None:
    """60 ppm/K; nothing else of the simulated amplifier drifts at this level."""
    drift = eighth.figure("power_drift", "A")
    assert -60e-6 * 60.0 < drift.value < 0.0
    assert 0.0 < (drift.expanded_uncertainty or 0.0) < 1e-4


def test_the_fuse_bears_the_current_that_the_supply_gives(eighth: Measured) -> None:
    """80 A."""
    assert eighth.figure("fuse_load").value == pytest.approx(eighth.figure("supply_current").value / 80.0, rel=0.02)


def test_the_wait_is_told_with_the_end_and_the_time_left(eighth: Measured) -> None:
    last = eighth.told[-1]
    assert "foretold to end at" in last
    assert "min left" in last


def test_every_figure_can_be_computed_again(eighth: Measured) -> None:
    assert eighth.verification.agrees


def test_bursts_are_averaged_over_whole_repetitions(tmp_path: Path) -> None:
    """20 cycles of 1 kHz in 500 ms with 20 dB less between: 0.0496 of the burst's power (closed form)."""
    burst = measured(tmp_path, "soak: {for: 65 s, of_rated: 50 %, cycles: 20, every: 500 ms, low_level: -20 dB}")
    assert burst.figure("average_power", "A").value == pytest.approx(0.0496 * 75.0, rel=0.03)
    assert burst.figure("supply_current").capture
    assert burst.forecast_s("soak") == pytest.approx(burst.took_s["soak"], rel=0.1)
    assert burst.verification.agrees


@pytest.fixture(scope="module")
def silenced(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    steps = ("soak: {for: 30 min, of_rated: 30 %}", "measure_idle: {for: 1 s}")
    return measured(tmp_path_factory.mktemp("run"), *steps, amplifier=EARLY_PROTECTION)


def test_protection_is_noticed_with_power_temperature_and_voltage(silenced: Measured) -> None:
    """It mutes at 40 degC; 30 % of 150 W are 45 W."""
    assert within_uncertainty(silenced.figure("protection_temperature"), 40.0)
    assert silenced.figure("protection_power", "A").value == pytest.approx(45.0, rel=0.03)
    assert silenced.figure("protection_supply_voltage").value == pytest.approx(14.4, abs=0.05)
    assert silenced.figure("protection_output", "A").value < 1e-3
    assert silenced.figure("protection_time").value == pytest.approx(silenced.took_s["soak"], abs=1.0)


def test_what_was_measured_before_the_silence_counts_and_the_run_goes_on(silenced: Measured) -> None:
    assert silenced.outcome.error is None
    assert silenced.outcome.unmeasured == ()
    assert silenced.figure("supply_current_drift").value == pytest.approx(0.0, abs=0.1)
    assert silenced.figures("idle_current")
    assert any("fell silent at output A and B" in note for note in silenced.notes)
    assert silenced.verification.agrees


def test_the_run_ends_with_the_silence_if_the_sequence_asks_for_it(tmp_path: Path) -> None:
    steps = ("soak: {for: 30 min, of_rated: 30 %, on_protection: end the run}", "measure_idle: {for: 1 s}")
    ended = measured(tmp_path, *steps, amplifier=EARLY_PROTECTION)
    assert "fell silent" in str(ended.outcome.error)
    assert ended.outcome.exit_code == 1
    assert ended.figures("protection_temperature")
    assert not ended.figures("idle_current")


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("soak: {for: 1 h}", "no level is given and no find_clean_level comes before it"),
        ("soak: {for: 1 h, level: 8 V}", "a level of 8 V is more than the generator gives"),
        ("soak: {for: 1 h, of_rated: 50 %, cycles: 600, every: 500 ms}", "does not end before the next begins"),
    ],
)
def test_preflight_refuses_what_cannot_be(step: str, words: str) -> None:
    assert any(words in hazard for hazard in hazards_of(step))
