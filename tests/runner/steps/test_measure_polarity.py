"""measure_polarity on the simulated bench: an inverted channel is named, and a lagging one has its phase."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.runner.measured import Measured, measured

# An all-pass of 20 kHz lags by 2 atan(f / 20 kHz): 5.725 deg at 1 kHz, 53.13 deg at 10 kHz (textbook).
ODD = {"  gain: 31.9 ": "  imperfections: {inverted: [B], lag: {B: 20 kHz}}\n  gain: 31.9 "}


@pytest.fixture(scope="module")
def odd(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    step = "measure_polarity: {frequencies: [1 kHz, 10 kHz], expect: {polarity: above 0}}"
    return measured(tmp_path_factory.mktemp("run"), step, amplifier=ODD)


def test_the_inverted_channel_is_named(odd: Measured) -> None:
    assert (odd.figure("polarity", "A").value, odd.figure("polarity", "B").value) == (1.0, -1.0)
    assert (odd.figure("polarity", "A").verdict, odd.figure("polarity", "B").verdict) == ("passes", "fails")
    assert "output B is inverted against the generator" in odd.notes
    assert any("output B is inverted against the first output" in note for note in odd.notes)


def test_the_phase_between_the_channels_is_that_of_the_lag(odd: Measured) -> None:
    found = {figure.frequency_hz: figure for figure in odd.figures("channel_phase")}
    for tone_hz, lag_deg in ((1e3, 5.725), (10e3, 53.13)):
        truth = math.radians(180.0 - lag_deg)
        assert abs(found[tone_hz].value - truth) < (found[tone_hz].expanded_uncertainty or 0.0)


def test_it_can_be_computed_again_and_drives_only_a_little(odd: Measured) -> None:
    assert odd.verification.agrees
    worst = [worst for planned, worst in zip(odd.checked.plan, odd.checked.worst_cases, strict=True)
             if planned.step.kind == "measure_polarity"]  # fmt: skip
    assert worst[0].load_w <= 0.011 * 150.0
    assert odd.expected_s("measure_polarity") == pytest.approx(odd.took_s["measure_polarity"], rel=0.3)


def test_a_healthy_amplifier_has_nothing_to_say(tmp_path: Path) -> None:
    found = measured(tmp_path, "measure_polarity: {frequencies: [1 kHz]}")
    assert {figure.value for figure in found.figures("polarity")} == {1.0}
    assert not any("inverted" in note for note in found.notes)
