"""What is told without a model, from glances at outputs and from idles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.reader import load_amplifier
from benchctl.fit.evidence import dc, evidence, gain, half_waves, idle, silence, warm_joints
from benchctl.fit.reading.glances import Glance
from benchctl.fit.reading.items import METER_CURRENT, NO_INSTANTS, Instants, Item, Scale, Take
from benchctl.measure.conditions import Conditions
from benchctl.measure.uncertainty import LoadResistance

TONE = Conditions(load_ohm=4.0, frequency_hz=1000.0, level_v=0.02, drive="set", driven=("A", "B"))


@pytest.fixture(scope="module")
def hx2150() -> Amplifier:
    return load_amplifier("hx2150")


def glance(channel: str, upper_v: float, lower_v: float, taken_s: float = 10.0) -> Glance:
    rms_v = (upper_v - lower_v) / 2 / np.sqrt(2)
    return Glance("captures/0001-look.npz", channel, TONE, 0.02, upper_v, lower_v, rms_v, 1e-3, taken_s, 23.0)


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


def test_a_missing_upper_half_wave_is_named_with_both_peaks() -> None:
    (found,) = half_waves((SOUND[0], glance("B", 0.001, -0.892)))
    assert "no upper half wave" in found.sentence
    assert "+0.001 V and -0.892 V" in found.sentence


def test_records_too_small_to_tell_do_not_hide_a_missing_half_wave() -> None:
    coarse = [replace(glance("B", 0.001, -0.6), noise_v=0.033) for _ in range(3)]
    (found,) = half_waves((*coarse, replace(glance("B", 0.02, -7.4), noise_v=0.33)))
    assert "-7.4 V" in found.sentence


def test_dc_beneath_a_small_tone_is_no_missing_half_wave() -> None:
    assert list(half_waves((glance("A", 2.4, 0.6),))) == []


def test_dc_is_told_with_its_uncertainty() -> None:
    (found,) = dc((rest("output A", 1.506),))
    assert found.sentence.startswith("dc at output A is 1.506 ± 0.012 V")
    assert list(dc((rest("output A", 0.009),))) == []


def test_the_weaker_of_two_channels_is_named() -> None:
    takes = (tone("A", 31.9), tone("B", 31.9 * 0.8414))  # 20 log10 of it is -1.5 dB
    found = list(gain(load_amplifier("hx2150"), takes))
    assert [each.channel for each in found] == ["B", "B"]
    assert "(-1.5 dB)" in found[0].sentence


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
