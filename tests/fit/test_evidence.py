"""What is told without a model, from glances at outputs and from idles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.reader import load_amplifier
from benchctl.fit.evidence import dc, evidence, gain, half_waves, idle, silence, warm_joints
from benchctl.fit.reading.glances import Glance, at_ends
from benchctl.fit.reading.items import METER_CURRENT, NO_INSTANTS, Instants, Item, Scale, Take
from benchctl.fit.starts import gain_of_take
from benchctl.fit.unseen import unseen
from benchctl.measure.conditions import Conditions
from benchctl.measure.uncertainty import LoadResistance

TONE = Conditions(load_ohm=4.0, frequency_hz=1000.0, level_v=0.02, drive="set", driven=("A", "B"))


@pytest.fixture(scope="module")
def hx2150() -> Amplifier:
    return load_amplifier("hx2150")


def glance(channel: str, upper_v: float, lower_v: float, taken_s: float = 10.0, half: bool = False) -> Glance:
    """Of a whole sine, which is near each end for a fifth of the time, or of one that is zero for half of it."""
    rms_v = (upper_v - lower_v) / 2 / np.sqrt(2)
    ends = (0.2, 0.2) if not half else (0.53, 0.2) if upper_v < -lower_v else (0.2, 0.53)
    return Glance("captures/0001-look.npz", channel, TONE, 0.02, upper_v, lower_v, rms_v, 1e-3, taken_s, 23.0, *ends)


SOUND = (glance("A", 0.9, -0.9), glance("B", 0.9, -0.9))


def rest(signal: str, value: float, zero_u: float = 1e-3) -> Take:
    item = Item(signal, np.array([value]), np.array([1e-4]), Scale(signal, 0.004, "", 0.0, zero_u))
    return Take("", "idle", "rest", 1000.0, 0.0, 14.4, (), 0.0, 0, {}, NO_INSTANTS, {}, {signal: item}, 23.0, 16.0)


def tone(channel: str, gain: float) -> Take:
    """A tone far below clipping, into 4 ohm through 20 mohm."""
    times_s = np.linspace(0.0, 1e-3, 26)
    signal = f"output {channel}"
    values = gain * 0.02 * np.sqrt(2) * np.sin(2 * np.pi * 1000 * times_s) * 4.0 / 4.02
    item = Item(signal, values, np.full(26, 1e-4), Scale(signal, 0.004, "1 V", 0.0006, 1e-4))
    instants = Instants(times_s, np.arange(26), np.zeros((0, 2), np.int64), np.zeros(0))
    loads, phases = {channel: LoadResistance(4.0, 4.0)}, {channel: 0.0}
    return Take(
        "",
        "tone",
        "steady",
        1000.0,
        0.02,
        14.4,
        (channel,),
        1.0,
        0,
        loads,
        instants,
        phases,
        {signal: item},
        23.0,
        20.0,
    )


def test_a_sound_amplifier_gives_no_evidence(hx2150: Amplifier) -> None:
    takes = (rest(METER_CURRENT, 1.7), tone("A", 31.9), tone("B", 31.9))
    assert evidence(hx2150, takes, SOUND) == ()


def test_a_channel_without_any_output_is_silent(hx2150: Amplifier) -> None:
    (found,) = silence(hx2150, (SOUND[0], glance("B", 2e-4, -2e-4)))
    assert found.channel == "B"
    assert "silent" in found.sentence


def test_a_channel_that_gives_dc_only_is_silent_too(hx2150: Amplifier) -> None:
    (found,) = silence(hx2150, (SOUND[0], glance("B", 0.5002, 0.4998)))
    assert "it gives 200 uV peak" in found.sentence


def test_a_missing_upper_half_wave_is_named_with_both_peaks() -> None:
    (found,) = half_waves((SOUND[0], glance("B", 0.001, -0.892, half=True)))
    assert "no upper half wave" in found.sentence
    assert "+0.001 V and -0.892 V" in found.sentence


def test_records_too_small_to_tell_do_not_hide_a_missing_half_wave() -> None:
    coarse = [replace(glance("B", 0.001, -0.1, half=True), noise_v=0.033) for _ in range(3)]
    (found,) = half_waves((*coarse, replace(glance("B", 0.02, -7.4, half=True), noise_v=0.33)))
    assert "-7.4 V" in found.sentence


def test_dc_beneath_a_small_tone_is_no_missing_half_wave() -> None:
    assert list(half_waves((glance("A", 2.4, 0.6),))) == []


def test_dc_that_lifts_a_whole_sine_off_zero_is_no_missing_half_wave() -> None:
    """0.54 V of peak on 0.57 V of dc goes down to 0.03 V; louder tones go to both sides."""
    lifted = glance("A", 1.11, 0.03)
    assert not lifted.tells_halves
    assert list(half_waves((lifted, lifted))) == []
    cut = replace(glance("A", 11.1, 0.0, half=True), asked_v=0.2)
    (found,) = half_waves((lifted, lifted, cut))
    assert "no lower half wave" in found.sentence, "and what such records hide a louder one shows"


def test_half_a_wave_that_a_coarse_range_just_shows_is_named_and_no_gain_is_told_of_it(hx2150: Amplifier) -> None:
    """Steps of 10 mV, and 2.5 mV of zero error: 32.5 mV of noise beside 0.646 V."""
    coarse = replace(glance("B", 0.6463, -0.0012, half=True), noise_v=0.0325)
    found = evidence(hx2150, (tone("A", 31.9), tone("B", 11.4)), (SOUND[0], coarse))
    assert [each.kind for each in found] == ["half wave"]


def test_a_gain_of_which_no_record_tells_half_waves_says_so(hx2150: Amplifier) -> None:
    small = replace(glance("B", 0.1, -0.001, half=True), noise_v=0.0325)
    found = evidence(hx2150, (tone("A", 31.9), tone("B", 11.4)), (SOUND[0], small))
    assert [each.kind for each in found] == ["gain", "gain"]
    assert all("which no record tells" in each.sentence for each in found)
    (untold,) = (each for each in unseen(hx2150, (), (SOUND[0], small)) if each.cause == "half wave")
    assert untold.channel == "B"


@pytest.mark.parametrize(("dc_v", "off_v"), [(0.0, 0.0), (0.6, 0.0), (0.0, 0.05)])
def test_a_sine_is_near_each_of_its_ends_for_a_fifth_of_the_time_and_half_a_wave_for_more_than_half(
    dc_v: float, off_v: float
) -> None:
    """arccos(0.8)/pi, and 1/2 + arcsin(0.1)/pi; whatever dc is beneath it, and whatever zero the range has."""
    sine = np.sin(2 * np.pi * np.arange(2500) / 1000.0)
    whole, half = dc_v + off_v + sine, off_v + np.maximum(sine, 0.0)
    assert at_ends(whole, (whole.min(), whole.max()), 1e-3) == pytest.approx((0.2048, 0.2048), abs=2e-3)
    assert at_ends(half, (half.min(), half.max()), 1e-3) == pytest.approx((0.1436, 0.5319), abs=2e-3)


def test_dc_is_told_with_its_uncertainty() -> None:
    (found,) = dc((rest("output A", 1.506),))
    assert found.sentence.startswith("dc at output A is 1.506 ± 0.012 V")
    assert list(dc((rest("output A", 0.009),))) == []


def test_the_weaker_of_two_channels_is_named() -> None:
    takes = (tone("A", 31.9), tone("B", 31.9 * 0.8414))  # 20 log10 of it is -1.5 dB
    found = list(gain(load_amplifier("hx2150"), takes))
    assert [each.channel for each in found] == ["B", "B"]
    assert "(-1.5 dB)" in found[0].sentence


@pytest.mark.parametrize("dc_v", [-0.86, 0.3])
def test_dc_beneath_a_small_tone_changes_no_gain(dc_v: float) -> None:
    """0.9 V of peak, which 0.86 V lift nearly off zero."""
    sound = tone("B", 31.9)
    item = sound.items["output B"]
    lifted = replace(sound, items={"output B": replace(item, values=item.values + dc_v)})
    assert gain_of_take(lifted, "B") == pytest.approx(31.9, rel=1e-6)


def test_a_dead_channel_is_no_measure_of_its_sister(hx2150: Amplifier) -> None:
    takes = (tone("A", 31.9), tone("B", 47.0))
    found = evidence(hx2150, takes, (SOUND[0], glance("B", 0.9, 0.001, half=True)))
    assert [each.kind for each in found] == ["half wave"]


def test_idle_current_is_held_against_the_amplifier_file(hx2150: Amplifier) -> None:
    (found,) = idle(hx2150, (rest(METER_CURRENT, 5.78),))
    assert "more than the 1.6 A" in found.sentence
    assert list(idle(hx2150, (rest(METER_CURRENT, 1.7),))) == []


def test_an_idle_current_that_may_be_right_is_not_called_wrong(hx2150: Amplifier) -> None:
    assert list(idle(hx2150, (rest(METER_CURRENT, 2.7, zero_u=0.5),))) == []


def test_an_output_that_is_lost_when_warm_has_a_joint_that_opens() -> None:
    cold, warm = glance("B", 0.9, -0.9), replace(glance("B", 0.001, -0.001, taken_s=200.0), heatsink_c=52.0)
    (found,) = warm_joints((SOUND[0], cold, replace(SOUND[0], taken_s=200.0), warm))
    assert found.channel == "B"
    assert "heatsink at 23 degC" in found.sentence
    assert "52 degC" in found.sentence


def test_a_joint_is_seen_at_another_level_too_and_an_amplifier_that_mutes_itself_has_none() -> None:
    cold = glance("B", 0.9, -0.9)
    warm = replace(glance("B", 0.001, -0.001, taken_s=200.0), asked_v=0.01, file="captures/0002-look.npz")
    beside = replace(warm, channel="A", upper_v=0.45, lower_v=-0.45, rms_v=0.32)
    (found,) = warm_joints((SOUND[0], cold, beside, warm))
    assert found.channel == "B"
    assert "at 0.5 times the level" in found.sentence
    assert list(warm_joints((SOUND[0], cold, replace(warm, channel="A"), warm))) == []


def test_a_silent_channel_is_not_also_called_a_joint(hx2150: Amplifier) -> None:
    dead = (SOUND[0], glance("B", 2e-4, -2e-4), glance("B", 1e-4, -1e-4, taken_s=200.0))
    assert [each.kind for each in evidence(hx2150, (), dead)] == ["silence"]
