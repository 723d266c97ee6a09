"""The test signal as a function of time."""

from __future__ import annotations

import math

import pytest

from benchctl.simulator.generator_signal import GeneratorSignal


def burst() -> GeneratorSignal:
    """20 ms at 1 V, 480 ms at 0.1 V, from 3 s on."""
    drive = GeneratorSignal(
        output_on=True, frequency_hz=1000.0, level_v=0.5, levels_v=(1.0, 0.1), dwells_s=(0.02, 0.48)
    )
    drive.start_list(3.0)
    return drive


@pytest.mark.parametrize(
    ("now_s", "level_v", "until_s"),
    [(3.0, 1.0, 3.02), (3.019, 1.0, 3.02), (3.02, 0.1, 3.5), (3.5, 1.0, 3.52), (3603.01, 1.0, 3603.02)],
)
def test_a_list_plays_its_levels_in_turn_for_their_dwell_times(now_s: float, level_v: float, until_s: float) -> None:
    tone, until = burst().tone_at(now_s)
    assert tone.amplitude_v == pytest.approx(level_v * math.sqrt(2))
    assert until == pytest.approx(until_s)


def test_each_repetition_begins_at_an_upward_zero_crossing() -> None:
    tone, _ = burst().tone_at(5.51)
    assert tone.origin_s == pytest.approx(5.5)


def test_walking_from_change_to_change_never_stands_still() -> None:
    """Ten thousand repetitions, two changes each, in spite of rounding."""
    drive = burst()
    time_s = 3.0
    for _ in range(20_000):
        _, until_s = drive.tone_at(time_s)
        assert until_s > time_s + 0.01
        time_s = until_s
    assert time_s == pytest.approx(3.0 + 10_000 * 0.5)


def test_sync_rises_when_the_burst_level_begins() -> None:
    drive = burst()
    assert drive.next_sync(0.0) == 3.0
    assert drive.next_sync(3.0) == 3.0
    assert drive.next_sync(3.01) == 3.5
    assert drive.next_sync(3602.6) == pytest.approx(3603.0)


def test_sync_of_a_constant_tone_rises_at_each_upward_zero_crossing() -> None:
    drive = GeneratorSignal(frequency_hz=50.0, phase_origin_s=1.0)
    assert drive.next_sync(1.001) == pytest.approx(1.02)
    assert drive.next_sync(7.04) == pytest.approx(7.04)


def test_a_list_that_is_over_gives_way_to_the_constant_tone() -> None:
    drive = burst()
    drive.repetitions = 2
    assert drive.list_playing(3.99)
    assert not drive.list_playing(4.0)
    assert drive.tone_at(4.5)[0].amplitude_v == pytest.approx(0.5 * math.sqrt(2))


def test_nothing_comes_out_while_the_output_is_off() -> None:
    drive = burst()
    drive.output_on = False
    assert drive.tone_at(3.01)[0].amplitude_v == 0.0


def test_bursts_alone_leave_silence_between_them() -> None:
    drive = burst()
    drive.only_lists, drive.repetitions = True, 1
    drive.levels_v, drive.dwells_s = (1.0,), (0.02,)
    drive.start_list(3.0)
    assert drive.tone_at(3.021)[0].amplitude_v == 0.0
    assert drive.next_sync(2.9) == 3.0
    assert math.isinf(drive.next_sync(3.1))


def test_a_start_phase_moves_the_zero_crossing_and_not_the_sync() -> None:
    """90 degrees of 1 kHz are a quarter of a millisecond."""
    drive = burst()
    drive.start_phase_rad = math.pi / 2
    tone, _ = drive.tone_at(3.001)
    assert tone.origin_s == pytest.approx(3.0 - 0.00025)
    assert tone.sync_rose_s == 3.0


def test_an_offset_is_there_only_while_the_output_is_on() -> None:
    drive = burst()
    drive.offset_v = 0.2
    assert drive.tone_at(3.001)[0].offset_v == 0.2
    drive.switch(False)
    assert drive.tone_at(3.001)[0].offset_v == 0.0
