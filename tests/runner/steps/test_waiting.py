"""cool and settle end when they should, say how much time is left, and do what is asked when it is over."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.measured import Measured, measured, within_uncertainty

HEAT = "soak: {for: 4 min, level: 40 % rated}"


@pytest.fixture(scope="module")
def cooled(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(tmp_path_factory.mktemp("run"), HEAT, "cool: {heatsink: below 45 degC}", "measure_idle: {for: 1 s}")


def test_cooling_ends_when_the_heatsink_is_cool_enough(cooled: Measured) -> None:
    at_the_end = cooled.figures("heatsink_temperature")[-1]
    assert at_the_end.value == pytest.approx(45.0, abs=0.3)


def test_the_time_left_to_cool_is_foretold(cooled: Measured) -> None:
    """What is told half way is about the other half."""
    told = [text for text in cooled.told if "until below 45 degC" in text]
    half_way = told[len(told) // 2]
    minutes = float(half_way.split("about ")[1].split(" ")[0])
    assert minutes * 60 == pytest.approx(cooled.took_s["cool"] / 2, abs=60.0)


def test_a_heatsink_that_will_not_get_there_is_told(tmp_path: Path) -> None:
    """It idles at 39 degC or so: 24 W into 0.55 K/W above 23 degC."""
    warm = measured(tmp_path, HEAT, "cool: {heatsink: below 30 degC, timeout: 8 min, on_timeout: go on}")
    told = [text for text in warm.told if "to be below 30 degC" in text]
    assert "predicted to end at 3" in told[-1]
    assert warm.outcome.error is None
    assert any("below 30 degC was asked for" in note for note in warm.notes)


def test_a_run_whose_wait_is_over_ends_unless_it_is_to_go_on(tmp_path: Path) -> None:
    warm = measured(tmp_path, HEAT, "cool: {heatsink: below 30 degC, timeout: 30 s}", "measure_idle: {for: 1 s}")
    assert "below 30 degC was asked for" in str(warm.outcome.error)
    assert not warm.figures("idle_current")


def test_settle_may_end_as_soon_as_the_end_is_known(tmp_path: Path) -> None:
    """The idling amplifier warms by 0.55 K/W; its 24 W are known from the supply."""
    settled = measured(tmp_path, "settle: {predicted_end: within 2 K, timeout: 60 min}", "measure_idle: {for: 2 s}")
    final = settled.figure("final_heatsink_temperature")
    assert within_uncertainty(final, 23.0 + 0.55 * settled.figure("idle_power").value)
    assert settled.took_s["settle"] < 25 * 60
    assert settled.verification.agrees


def test_settle_says_how_much_time_is_left(tmp_path: Path) -> None:
    settled = measured(tmp_path, "settle: {heatsink: within 0.5 K, per: 1 min, timeout: 60 min}")
    told = [text for text in settled.told if "left" in text]
    assert "predicted to end at" in told[-1]


def test_what_does_not_settle_ends_as_the_sequence_says(tmp_path: Path) -> None:
    settle = "settle: {heatsink: within 0.01 K, per: 10 s, timeout: 20 s, on_timeout: go on}"
    run = measured(tmp_path, settle, "measure_idle: {for: 1 s}")
    assert run.outcome.error is None
    assert "heatsink did not settle within 20 s" in run.notes
    assert run.figures("idle_current")
