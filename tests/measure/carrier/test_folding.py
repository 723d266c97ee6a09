"""A carrier near a multiple of the sample rate is seen within the band, and may make 1.10 % of a clean tone."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.measure.carrier.folding import folded_hz, is_fine, unfolded
from benchctl.measure.signal.distortion import Distortion, noise_and_distortion, tone_spectrum

CARRIER_HZ = 400.3e3
BAND_HZ = 20e3


def seen(rate_hz: float, carrier_v: float = 0.05, third: float = 0.004) -> Distortion:
    """A tone of 7 V RMS with a carrier, recorded at a sample rate without any filter."""
    time_s = np.arange(round(0.04 * rate_hz)) / rate_hz
    tone = 10.0 * (np.sin(2.0 * math.pi * 1e3 * time_s) + third * np.sin(2.0 * math.pi * 3e3 * time_s))
    carrier = math.sqrt(2.0) * carrier_v * np.sin(2.0 * math.pi * CARRIER_HZ * time_s)
    return noise_and_distortion(tone_spectrum(tone + carrier, 1.0 / rate_hz, 1e3), BAND_HZ)


@pytest.mark.parametrize(
    ("rate_hz", "where_hz"), [(200e3, 300.0), (500e3, 99.7e3), (225e3, 49.7e3), (2.5e6, 400.3e3), (400e3, 300.0)]
)
def test_a_frequency_is_seen_at_its_distance_to_the_nearest_multiple_of_the_rate(
    rate_hz: float, where_hz: float
) -> None:
    """The sampling theorem: a sine of f and one of |f - n s| have the same samples."""
    assert folded_hz(CARRIER_HZ, rate_hz) == pytest.approx(where_hz)
    instants_s = np.arange(1000) / rate_hz
    one, other = (np.cos(2.0 * math.pi * each * instants_s) for each in (CARRIER_HZ, where_hz))
    assert np.max(np.abs(one - other)) < 1e-6


def test_a_folded_carrier_adds_to_distortion_and_another_rate_shows_it() -> None:
    """0.05 V of 7.07 V RMS is 0.71 %, beside 0.4 % of third harmonic 0.81 %: sqrt(0.004^2 + 0.00707^2)."""
    assert seen(200e3).ratio == pytest.approx(math.hypot(0.004, 0.05 / math.sqrt(50.0)), rel=0.01)
    assert seen(225e3).ratio == pytest.approx(0.004, rel=0.01)


def test_a_fine_record_is_believed() -> None:
    assert is_fine(1.0 / 1.5e6)
    assert not is_fine(1.0 / 1.4e6)
    assert unfolded(seen(2.5e6), 1.0 / 2.5e6).doubt == ""


def test_a_coarse_record_alone_is_at_most_so_much() -> None:
    found = unfolded(seen(200e3), 1.0 / 200e3)
    assert found.doubt.startswith("a record of 200 kSa/s may show the carrier")


def test_a_finer_record_decides() -> None:
    found = unfolded(seen(200e3), 1.0 / 200e3, (seen(2.5e6), 1.0 / 2.5e6))
    assert found.doubt == ""
    assert found.distortion.ratio == pytest.approx(0.004, rel=0.01)


def test_two_rates_that_disagree_give_the_lesser_as_a_bound() -> None:
    found = unfolded(seen(200e3), 1.0 / 200e3, (seen(225e3), 1.0 / 225e3))
    assert found.doubt
    assert found.distortion.ratio == pytest.approx(0.004, rel=0.01)


def test_two_rates_that_agree_give_a_value() -> None:
    found = unfolded(seen(500e3), 1.0 / 500e3, (seen(225e3), 1.0 / 225e3))
    assert found.doubt == ""


def test_two_rates_of_which_one_is_a_multiple_of_the_other_prove_nothing() -> None:
    """400.3 kHz is seen at 300 Hz with 200 and with 400 kSa/s."""
    found = unfolded(seen(200e3), 1.0 / 200e3, (seen(400e3), 1.0 / 400e3))
    assert found.doubt
