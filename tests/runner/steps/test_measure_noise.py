"""measure_noise on the simulated bench: the simulator's own noise comes out."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.runner.measured import Measured, hazards_of, measured, within_uncertainty
from tests.runner.rig import Edits

# The HX 2150 gives 0.3 mV of noise from 20 Hz to 20 kHz.
NOISE_V = 0.3e-3


@pytest.fixture(scope="module")
def noise(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    step = "measure_noise: {expect: {signal_to_noise_1w: above 75 dB}}"
    return measured(tmp_path_factory.mktemp("run"), "set: {level: 200 mV}", step, takes_zeros=True)


def test_noise_is_the_amplifiers(noise: Measured) -> None:
    """What the oscilloscope adds is subtracted, and chance moves the rest by its own uncertainty now and then."""
    for channel in "AB":
        assert within_uncertainty(noise.figure("output_noise", channel), NOISE_V, factor=2.0)


def test_the_a_curve_takes_two_decibels_of_even_noise(noise: Measured) -> None:
    """Equivalent noise bandwidth of the A curve up to 20 kHz: 12.5 kHz, by integrating IEC 61672-1's formula, against
    20 kHz: 2.0 dB."""
    weighted, plain = noise.figure("output_noise_a_weighted", "A"), noise.figure("output_noise", "A")
    assert 20 * math.log10(weighted.value / plain.value) == pytest.approx(-2.0, abs=0.2)


def test_the_ratio_to_1_w_is_that_of_2_v_into_4_ohm(noise: Measured) -> None:
    """CEA-2006: 1 W is 2.0 V into 4 ohm."""
    ratio, weighted = noise.figure("signal_to_noise_1w", "A"), noise.figure("output_noise_a_weighted", "A")
    assert ratio.value == pytest.approx(2.0 / weighted.value)
    assert ratio.verdict == "passes"


def test_the_ratio_to_rated_power_is_greater_by_the_ratio_of_the_powers(noise: Measured) -> None:
    """150 W against 1 W."""
    rated, one_watt = noise.figure("signal_to_noise_rated", "B"), noise.figure("signal_to_noise_1w", "B")
    assert rated.value == pytest.approx(one_watt.value * math.sqrt(150.0))


def test_noise_has_a_load_and_no_frequency(noise: Measured) -> None:
    rows = noise.table[noise.table["figure"] == "output_noise"]
    assert rows["load_ohm"].tolist() == [4.0, 4.0]
    assert rows["frequency_hz"].isna().all()


def test_every_figure_can_be_computed_again_and_the_time_was_foreseen(noise: Measured) -> None:
    assert noise.verification.agrees
    assert noise.expected_s("measure_noise") == pytest.approx(noise.took_s["measure_noise"], rel=0.1)


def test_a_tone_that_was_set_before_is_muted(noise: Measured) -> None:
    """Noise of a driven output would be volts."""
    assert noise.figure("output_noise", "A").value < 1e-3


def test_recording_the_oscilloscopes_own_noise_was_foreseen(noise: Measured) -> None:
    assert noise.took_s["power_on"] <= noise.expected_s("power_on") + 0.5


def test_a_dead_amplifier_has_a_bound_of_half_a_step_beside_what_the_oscilloscope_shows(tmp_path: Path) -> None:
    """8 mV at a probe of 20:1 in 4096 steps of 39.1 uV; 0.4 steps of noise and 1 / sqrt 12 of rounding are 19.3 uV
    up to 250 kHz, so 5.4 uV in the band."""
    dead = measured(tmp_path, "measure_noise", amplifier={"noise: 0.3 mV": "noise: 0 V"}, takes_zeros=True)
    step_v = 20.0 * 8e-3 / 4096
    own_v = step_v * math.hypot(0.4, 1.0 / math.sqrt(12.0)) * math.sqrt(19.98e3 / 250e3)
    for channel in "AB":
        figure = dead.figure("output_noise", channel)
        assert figure.bound == "at most"
        assert figure.value == pytest.approx(step_v / 2.0 + own_v, rel=0.03)


def test_where_the_oscilloscopes_own_noise_is_not_known_the_noise_is_a_bound(tmp_path: Path) -> None:
    unknown = measured(tmp_path, "measure_noise")
    for channel in "AB":
        figure = unknown.figure("output_noise", channel)
        assert figure.bound == "at most"
        assert figure.value > NOISE_V


def test_hum_of_an_open_input_is_told_with_what_to_do(tmp_path: Path) -> None:
    """1 mV at the open inputs is 32 mV at the outputs, a hundred times the amplifier's noise."""
    hums: Edits = {"simulation:\n": "simulation:\n  imperfections: {mains: {at_open_inputs: 1 mV}}\n"}
    humming = measured(tmp_path, "measure_noise", bench=hums, takes_zeros=True)
    assert humming.figure("output_noise", "A").value > 0.02
    assert any("hum is most of the noise of output A" in note and "shorting plug" in note for note in humming.notes)
    assert any("50 Hz (mains frequency" in note for note in humming.notes)


def test_noise_without_a_load_is_refused_before_it_begins() -> None:
    from tests.runner.measured import look
    from tests.runner.rig import POWER_ON_LINE, files

    checked = look(files(POWER_ON_LINE, "measure_noise"))
    assert any("no load is connected" in hazard for hazard in checked.hazards)
    assert hazards_of("measure_noise") == ()
