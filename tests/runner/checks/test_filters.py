"""A step that looks where the declared filters leave nothing is refused; a sweep that goes there is noted."""

from __future__ import annotations

import pytest

from benchctl.documents.amplifier_file.filters import CrossoverFilter
from tests.runner.checks.test_preflight import FIND, checked
from tests.runner.rig import POWER_ON_LINE, Edits

LOW_PASS: Edits = {"gain: 30 dB": "gain: 30 dB\nfilters: [{kind: low-pass, corner: 80 Hz, slope: 24 dB/octave}]"}
OF_A: Edits = {old: new.replace("24 dB/octave", "24 dB/octave, channels: [A]") for old, new in LOW_PASS.items()}
HIGH_PASS: Edits = {"gain: 30 dB": "gain: 30 dB\nfilters: [{kind: high-pass, corner: 4 kHz, slope: 24 dB/octave}]"}


def at(frequency: str) -> str:
    return f"set: {{load: 4 ohm, frequency: {frequency}}}"


@pytest.mark.parametrize(("order", "slope"), [(2, "12 dB/octave"), (4, "24 dB/octave")])
def test_a_filter_leaves_what_a_butterworth_does(order: int, slope: str) -> None:
    """3.01 dB are lost at the corner, 20 dB a decade for each pole far beyond it (any textbook)."""
    low_pass = CrossoverFilter.model_validate({"kind": "low-pass", "corner_hz": 80.0, "slope": slope})
    high_pass = CrossoverFilter.model_validate({"kind": "high-pass", "corner_hz": 80.0, "slope": slope})
    assert low_pass.left_db(80.0) == pytest.approx(-3.01, abs=0.001)
    assert low_pass.left_db(8000.0) == pytest.approx(-40.0 * order, abs=0.001)
    assert high_pass.left_db(0.8) == pytest.approx(-40.0 * order, abs=0.001)
    assert high_pass.left_db(8000.0) == pytest.approx(0.0, abs=0.001)


def test_a_tone_far_above_a_low_pass_is_refused_with_a_frequency_that_it_passes() -> None:
    (told,) = checked(POWER_ON_LINE, at("1 kHz"), FIND, "power_off", amplifier=LOW_PASS).hazards
    assert told == (
        "3 find_clean_level: at 1 kHz the amplifier's low-pass of 80 Hz leaves -88 dB, which cannot be told from "
        "noise; use a frequency that it passes, such as 40 Hz, or switch it off and take it out "
        "of 'filters' in the amplifier file"
    )


def test_a_tone_far_below_a_high_pass_is_refused_too() -> None:
    (told,) = checked(POWER_ON_LINE, at("50 Hz"), FIND, "power_off", amplifier=HIGH_PASS).hazards
    assert "the amplifier's high-pass of 4 kHz leaves -152 dB" in told
    assert "such as 8 kHz" in told


def test_a_tone_in_the_band_of_the_filter_is_not() -> None:
    assert checked(POWER_ON_LINE, at("50 Hz"), FIND, "power_off", amplifier=LOW_PASS).hazards == ()


def test_a_response_far_above_the_corner_is_refused() -> None:
    step = "measure_response: {from: 1 kHz, to: 20 kHz}"
    (told,) = checked(POWER_ON_LINE, "set: {load: 4 ohm}", step, "power_off", amplifier=LOW_PASS).hazards
    assert "at 1 kHz the amplifier's low-pass of 80 Hz leaves -88 dB" in told


def test_a_response_that_begins_in_the_band_is_noted_with_its_unseen_part() -> None:
    """60 dB of 24 dB/octave are lost 2.5 octaves above the corner, at 450 Hz."""
    found = checked(POWER_ON_LINE, "set: {load: 4 ohm}", "measure_response: {}", "power_off", amplifier=LOW_PASS)
    assert found.hazards == ()
    (note,) = [text for text in found.notes if "low-pass" in text]
    assert "17 of 31 frequencies (500 Hz to 20 kHz)" in note


def test_a_channel_without_the_filter_is_still_to_be_seen() -> None:
    assert checked(POWER_ON_LINE, at("1 kHz"), FIND, "power_off", amplifier=OF_A).hazards == ()
