"""An amplifier that goes into protection is noticed in every step that drives it; the run goes on or ends as asked."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.measured import Measured, measured, within_uncertainty

# It mutes at 36 degC; 40 % of rated power take it there in a minute.
EARLY = {"temperature: 95 degC, restart: 75 degC": "temperature: 36 degC, restart: 25 degC"}


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(
        tmp_path_factory.mktemp("run"),
        "measure_continuous: {for: 5 min, level: 500 mV}",
        "measure_idle: {for: 1 s}",
        amplifier=EARLY,
    )


def test_a_steady_tone_that_is_cut_off_is_noticed_at_once(steady: Measured) -> None:
    assert within_uncertainty(steady.figure("protection_temperature"), 36.0)
    assert steady.figure("protection_time").value == pytest.approx(steady.took_s["measure_continuous"], abs=1.0)
    # 0.5 V times the true gain into 4.013 ohm.
    assert within_uncertainty(steady.figure("protection_power", "A"), (0.5 * 31.74) ** 2 / 4.013, factor=1.5)


def test_the_supply_current_has_fallen_by_then(steady: Measured) -> None:
    assert steady.figure("protection_supply_current").value < 1.0
    assert steady.figure("protection_supply_voltage").value == pytest.approx(14.4, abs=0.05)


def test_the_step_gives_no_other_figures_and_the_run_goes_on(steady: Measured) -> None:
    assert not steady.figures("continuous_power")
    assert "fell silent at output A and B" in steady.outcome.unmeasured[0]
    assert steady.figures("idle_current")
    assert steady.verification.agrees


@pytest.mark.parametrize(
    "step",
    [
        "find_clean_level: {from: 500 mV}",
        "measure_burst: {cycles: [20], from: 500 mV, every: 100 ms}",
    ],
)
def test_a_search_that_is_cut_off_is_told_so_and_not_taken_for_a_clean_one(step: str, tmp_path: Path) -> None:
    """The heatsink is a tenth of a kelvin from its limit when the search begins."""
    soaked = measured(tmp_path / "first", "soak: {for: 10 min, level: 40 % rated}", amplifier=EARLY)
    until_s = soaked.figure("protection_time").value
    run = measured(
        tmp_path / "second", f"soak: {{for: {until_s - 1.5:.1f} s, level: 40 % rated}}", step, amplifier=EARLY
    )
    assert run.figures("protection_temperature")
    assert "fell silent" in run.outcome.unmeasured[0]


def test_a_run_ends_with_the_silence_if_the_sequence_asks_for_it(tmp_path: Path) -> None:
    step = "measure_continuous: {for: 5 min, level: 500 mV, on_protection: end the run}"
    run = measured(tmp_path, step, "measure_idle: {for: 1 s}", amplifier=EARLY)
    assert "fell silent" in str(run.outcome.error)
    assert not run.figures("idle_current")
    assert run.outcome.is_safe
