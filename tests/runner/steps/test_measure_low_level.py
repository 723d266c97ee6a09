"""measure_distortion and measure_linearity on the simulated bench."""

from __future__ import annotations

import pytest

from tests.runner.measured import Measured, hazards_of, measured

# A generator and a converter that are said to be far better than the amplifier.
GOOD = {"ratings: {level: 7 V, frequency: 1 MHz}": "ratings: {level: 7 V, frequency: 1 MHz, distortion: 0.01 %}"}
COARSE = {"bits: 12": "bits: 8"}
DISTORTION = "measure_distortion: {from: 250 Hz, to: 4 kHz, per_octave: 1, expect: {thd_n: below 5 %}}"


@pytest.fixture(scope="module")
def low_level(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    linearity = "measure_linearity: {levels: 3, lowest: -40 dB rated, expect: {gain_linearity: within 1 dB}}"
    return measured(tmp_path_factory.mktemp("run"), DISTORTION, linearity, bench=GOOD, tries_wiring=True)


def test_distortion_is_told_at_each_frequency_at_1_w(low_level: Measured) -> None:
    """1 W into 4 ohm is 2 V."""
    rows = low_level.table[low_level.table["figure"] == "thd_n"]
    assert sorted(set(rows["frequency_hz"])) == [250.0, 500.0, 1000.0, 2000.0, 4000.0]
    assert low_level.figures("output_rms")[0].value == pytest.approx(2.0, rel=0.02)
    assert {figure.verdict for figure in low_level.figures("thd_n")} == {"passes"}


def test_a_linear_amplifier_has_the_same_gain_at_each_level(low_level: Measured) -> None:
    """The gain of the HX 2150 is that of a divider, whatever the level."""
    figures = low_level.figures("gain_linearity")
    assert len(figures) == 6
    for figure in figures:
        assert figure.bound or abs(figure.value - 1.0) <= figure.expanded_uncertainty
    rows = low_level.table[low_level.table["figure"] == "gain_linearity"]
    assert len(set(rows["level_v"])) == 3


@pytest.mark.parametrize("kind", ["measure_distortion", "measure_linearity"])
def test_the_time_was_foreseen_and_every_figure_can_be_computed_again(low_level: Measured, kind: str) -> None:
    assert low_level.verification.agrees
    assert low_level.expected_s(kind) == pytest.approx(low_level.took_s[kind], rel=0.2)


def test_on_eight_bits_no_distortion_of_a_clean_amplifier_is_a_value(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    coarse = measured(tmp_path_factory.mktemp("run"), DISTORTION, bench=COARSE)
    found = [*coarse.figures("thd_n"), *coarse.figures("thd")]
    assert found
    assert all(figure.bound == "at most" for figure in found)


def test_a_frequency_that_the_generator_does_not_give_is_refused() -> None:
    (hazard,) = hazards_of(
        "measure_distortion: {from: 1 kHz, to: 20 kHz}", bench={"frequency: 1 MHz}": "frequency: 10 kHz}"}
    )
    assert "is more than the generator gives" in hazard
