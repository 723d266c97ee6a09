"""Preferred frequencies of ISO 266 and the exact ones of IEC 61260-1.

Nominal and exact values as in the table of GOST 17187-2010 (IEC 61672-1:2002), exact = 10^(n/10) Hz; the octave ratio
G = 10^(3/10) of IEC 61260-1 from memory.
"""

from __future__ import annotations

import itertools

import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.signal.frequencies import OCTAVE_RATIO, iso_266_hz, per_octave_hz

# fmt: off
THIRD_OCTAVES_HZ = (
    20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150,
    4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000,
)
EXACT_HZ = {10: 10.0, 12.5: 12.5893, 31.5: 31.6228, 63: 63.0957, 800: 794.3282, 1000: 1000.0, 3150: 3162.2777,
            20000: 19952.6231}
# fmt: on


def test_the_third_octaves_of_the_audio_band_are_the_preferred_ones() -> None:
    assert iso_266_hz(20.0, 20e3) == pytest.approx(THIRD_OCTAVES_HZ)


def test_the_octaves_are_every_third_of_them_about_one_kilohertz() -> None:
    assert iso_266_hz(20.0, 20e3, per_octave=1) == pytest.approx(
        (31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000)
    )


@pytest.mark.parametrize(("nominal_hz", "expected_hz"), EXACT_HZ.items())
def test_each_nominal_frequency_stands_for_an_exact_one(nominal_hz: float, expected_hz: float) -> None:
    third_octaves_hz = per_octave_hz(0.99 * nominal_hz, 1.01 * nominal_hz, 3)
    assert third_octaves_hz == pytest.approx((expected_hz,), abs=5e-5)


def test_a_range_between_two_preferred_frequencies_is_empty() -> None:
    assert iso_266_hz(1010.0, 1200.0) == ()


@pytest.mark.parametrize("per_octave", [1, 2, 3, 6, 12, 24])
def test_so_many_an_octave_include_one_kilohertz_and_step_evenly(per_octave: int) -> None:
    frequencies_hz = per_octave_hz(20.0, 20e3, per_octave)
    assert any(f == pytest.approx(1000.0) for f in frequencies_hz)
    ratios = [later / earlier for earlier, later in itertools.pairwise(frequencies_hz)]
    assert ratios == pytest.approx([OCTAVE_RATIO ** (1.0 / per_octave)] * len(ratios))
    assert frequencies_hz[0] >= 20.0 * 0.995
    assert frequencies_hz[-1] <= 20e3 * 1.005


def test_the_octave_ratio_is_that_of_powers_of_ten() -> None:
    assert pytest.approx(1.995262315) == OCTAVE_RATIO


@pytest.mark.parametrize(("lowest_hz", "highest_hz"), [(0.0, 100.0), (200.0, 100.0), (-5.0, 100.0)])
def test_a_range_that_does_not_rise_from_above_zero_is_a_named_error(lowest_hz: float, highest_hz: float) -> None:
    with pytest.raises(MeasurementError):
        iso_266_hz(lowest_hz, highest_hz)
    with pytest.raises(MeasurementError):
        per_octave_hz(lowest_hz, highest_hz, 3)


def test_spacings_that_do_not_exist_are_a_named_error() -> None:
    with pytest.raises(MeasurementError):
        iso_266_hz(20.0, 20e3, per_octave=2)
    with pytest.raises(MeasurementError):
        per_octave_hz(20.0, 20e3, 0)
