"""A peak is told without what noise adds to it, and with what noise and rounding leave open."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from benchctl.measure.signal.peaks import (
    Blur,
    Peak,
    half_span,
    highest_of_rows,
    lowest_and_highest,
    outermost,
    sample_noise,
)

Shape = Callable[[np.ndarray], np.ndarray]
PHASE = 2 * np.pi * np.arange(20_000) / 500
NOISE = 0.4
SEEN = math.hypot(NOISE, 1 / math.sqrt(12))  # with that of rounding to steps of 1


def level(phase: np.ndarray) -> np.ndarray:
    return np.full(phase.size, 0.25)


def clipped(phase: np.ndarray) -> np.ndarray:
    return np.clip(1500.0 * np.sin(phase), -1380.0, 1380.0)


def round_top(phase: np.ndarray) -> np.ndarray:
    return 1500.0 * np.sin(phase)


@pytest.mark.parametrize("shape", [level, clipped, round_top])
def test_peaks_of_many_noisy_records_lie_about_the_true_one_as_wide_as_they_say(shape: Shape) -> None:
    random = np.random.default_rng(11)
    scores = []
    for _ in range(150):
        signal = shape(PHASE) + random.uniform(0.0, 1.0)
        _, found = lowest_and_highest(
            np.rint(signal + random.normal(0.0, NOISE, PHASE.size)), Blur.of_samples(SEEN, 1.0)
        )
        scores.append((found.value - signal.max()) / found.uncertainty)
    assert abs(np.mean(scores)) < 0.5
    assert 0.6 < np.std(scores) < 1.1


def test_the_lowest_is_found_as_the_highest_is() -> None:
    hiss = np.random.default_rng(3).normal(0.0, 0.1, 1000)
    lowest, highest = lowest_and_highest(hiss, Blur(0.1))
    mirrored = lowest_and_highest(-hiss, Blur(0.1))
    assert (-lowest.value, lowest.uncertainty) == (mirrored[1].value, mirrored[1].uncertainty)
    assert (-highest.value, highest.uncertainty) == (mirrored[0].value, mirrored[0].uncertainty)


def test_a_peak_that_stands_alone_is_not_lowered() -> None:
    lonely = np.array([0.0, 0.0, 5.0, 0.0])
    _, highest = lowest_and_highest(lonely, Blur(0.1))
    assert highest == Peak(pytest.approx(5.0, abs=1e-4), pytest.approx(0.1, abs=1e-4), pytest.approx(0.1, abs=1e-4))


def test_without_noise_a_peak_is_the_highest_sample_within_its_rounding() -> None:
    _, highest = lowest_and_highest(np.array([1.0, 3.0, 3.0]), Blur.of_samples(0.0, 0.5))
    rounding = 0.5 / math.sqrt(12)
    assert highest == Peak(pytest.approx(3.0), pytest.approx(rounding), pytest.approx(rounding))


def test_means_are_blurred_less_than_samples() -> None:
    assert Blur.of_means(SEEN, 1.0, 16).noise == pytest.approx(SEEN / 4.0)
    assert Blur.of_means(SEEN, 1.0, 16).rounding < 0.02  # noise made all but that much of it random
    assert Blur.of_means(0.0, 1.0, 16).rounding == pytest.approx(1 / math.sqrt(12), rel=0.02)
    assert Blur.of_means(SEEN, 1.0, 1) == Blur.of_samples(SEEN, 1.0)


def test_the_peak_behind_a_low_pass_is_freed_of_less_noise_since_neighbours_have_it_in_common() -> None:
    """A clipped tone with noise of which a low-pass leaves a fiftieth (white noise, by a transform): its highest value
    lies as much above the flat top as one of a fiftieth as many samples would."""
    random = np.random.default_rng(12)
    scores = []
    for _ in range(60):
        spectrum = np.fft.rfft(random.normal(size=PHASE.size))
        spectrum[PHASE.size // 100 :] = 0.0
        low_passed = clipped(PHASE) + np.fft.irfft(spectrum, PHASE.size)
        _, found = lowest_and_highest(low_passed, Blur.of_band(1.0, 0.0, 0.02, 0.0))
        scores.append((found.value - 1380.0) / found.uncertainty)
    assert abs(np.mean(scores)) < 0.5
    assert 0.6 < np.std(scores) < 1.2


def test_half_of_peak_to_peak_sees_no_offset_and_the_outermost_does() -> None:
    lowest, highest = Peak(-20.0, 0.3, 0.3), Peak(30.0, 0.4, 0.4)
    assert half_span(lowest, highest) == Peak(25.0, pytest.approx(0.25), pytest.approx(0.25))
    assert outermost(lowest, highest) == highest
    assert outermost(Peak(-31.0, 0.3, 0.3), highest) == Peak(31.0, 0.3, 0.3)


def test_what_nobody_knows_of_the_shape_of_tops_is_the_same_on_both_sides() -> None:
    """Two doubts of 0.3 that are one and the same leave 0.3 of a half span, two errors of 0.4 of their own 0.283."""
    found = half_span(Peak(-20.0, 0.5, 0.4), Peak(30.0, 0.5, 0.4))
    assert (found.own, found.doubt) == (pytest.approx(0.4 / math.sqrt(2.0)), pytest.approx(0.3))


@pytest.mark.parametrize("shape", [level, clipped, round_top])
def test_the_noise_of_a_sample_is_told_from_the_signal_it_rides_on(shape: Shape) -> None:
    hiss = np.random.default_rng(5).normal(0.0, NOISE, PHASE.size)
    assert sample_noise(np.rint(shape(PHASE) + hiss)) == pytest.approx(SEEN, rel=0.05)


def test_too_few_samples_show_no_noise() -> None:
    assert sample_noise(np.array([1.0, 2.0, 3.0])) == 0.0


@pytest.mark.parametrize("fall", [0.05, 0.3, 1.0, 3.0])
def test_the_peak_of_a_round_top_among_few_samples_is_as_sure_as_it_says(fall: float) -> None:
    """1,000 parabolas, sampled anywhere, that fall by so many standard deviations of the noise in one sample."""
    random = np.random.default_rng(11)
    places = np.arange(-60, 61) + random.uniform(-0.5, 0.5, (1000, 1))
    peaks = highest_of_rows(-fall * places**2 + random.normal(size=places.shape), Blur(1.0))
    scores = np.array([peak.value / peak.uncertainty for peak in peaks])
    assert float(np.mean(np.abs(scores) < 2.0)) > 0.89
    assert 0.85 < float(scores.std()) < 1.2
