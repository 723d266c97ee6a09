"""The peak of a steady tone: all cycles together tell how round its top is, where they are alike."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from benchctl.measure.signal.distortion import ToneSpectrum, tone_spectrum
from benchctl.measure.signal.peaks import Blur, half_span, lowest_and_highest
from benchctl.measure.signal.tops import ends_of_tone

Shape = Callable[[np.ndarray], np.ndarray]
NOISE = 0.05
A_CYCLE, CYCLES = 500, 40
PHASE = 2 * np.pi * np.arange(A_CYCLE * CYCLES) / A_CYCLE
RANDOM = np.random.default_rng(15)


def round_top(phase: np.ndarray) -> np.ndarray:
    return 50.0 * np.sin(phase)


def clipped(phase: np.ndarray) -> np.ndarray:
    """With a knee, as amplifiers have it."""
    driven = 1.2 * np.sin(phase)
    return 50.0 * driven / (1.0 + np.abs(driven) ** 20) ** (1 / 20)


def noisy(shape: Shape, more: float | np.ndarray = 0.0) -> tuple[np.ndarray, float, ToneSpectrum]:
    """A record that begins anywhere in a cycle, half of its peak to peak without noise, and its spectrum."""
    clean = shape(PHASE + RANDOM.uniform(0.0, 2 * np.pi)) + more
    record = clean + RANDOM.normal(0.0, NOISE, PHASE.size)
    return record, float(np.ptp(clean)) / 2.0, tone_spectrum(record, 1e-3 / A_CYCLE, 1000.0)


@pytest.mark.parametrize("shape", [round_top, clipped])
def test_the_peak_of_like_cycles_is_as_sure_as_it_says_and_surer_than_that_of_any_shape(shape: Shape) -> None:
    scores = []
    for _ in range(60):
        record, true_v, tone = noisy(shape)
        found = half_span(*ends_of_tone(record, tone, Blur(NOISE)))
        assert found.uncertainty < 0.8 * half_span(*lowest_and_highest(record, Blur(NOISE))).uncertainty
        scores.append((found.value - true_v) / found.uncertainty)
    assert abs(np.mean(scores)) < 0.5
    assert 0.75 < np.std(scores) < 1.25


@pytest.mark.parametrize(
    "more",
    [
        pytest.param(0.3 * NOISE * np.sin(PHASE / 20.0), id="hum"),
        pytest.param(0.3 * NOISE * np.sin(PHASE * 30.5), id="whine"),
        pytest.param(2.0 * NOISE * np.sin(PHASE) * np.exp(-PHASE / 50.0), id="sinks"),
    ],
)
def test_where_cycles_differ_the_peak_may_have_any_shape(more: np.ndarray) -> None:
    record, _, tone = noisy(clipped, more)
    assert ends_of_tone(record, tone, Blur(NOISE)) == lowest_and_highest(record, Blur(NOISE))


def test_steps_that_noise_does_not_blur_leave_the_shape_open() -> None:
    record, _, tone = noisy(clipped)
    coarse = Blur(NOISE, 3.0 * NOISE / math.sqrt(12.0))
    assert ends_of_tone(record, tone, coarse) == lowest_and_highest(record, coarse)


def test_samples_too_far_apart_leave_the_shape_open() -> None:
    record, *_ = noisy(clipped)
    sparse = record[::5]
    tone = tone_spectrum(sparse, 5e-3 / A_CYCLE, 1000.0)
    assert ends_of_tone(sparse, tone, Blur(NOISE)) == lowest_and_highest(sparse, Blur(NOISE))
