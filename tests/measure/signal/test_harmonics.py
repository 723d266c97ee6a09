"""One cycle is taken apart exactly, also where it is not a whole number of samples."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.measure.signal.harmonics import HarmonicFit

AMPLITUDES = {1: 10.0, 2: 0.2, 3: 0.5, 7: 0.1, 20: 0.05}


def cycle(samples: int, frequency_hz: float, interval_s: float, offset: float = 0.3) -> np.ndarray:
    time_s = np.arange(samples) * interval_s
    parts = (size * np.cos(2 * np.pi * order * frequency_hz * time_s + order) for order, size in AMPLITUDES.items())
    return sum(parts, start=np.full(samples, offset))[np.newaxis, :]


@pytest.mark.parametrize(("frequency_hz", "rate"), [(1000.0, 1e6), (997.0, 1e6), (997.0, 96e3), (1013.3, 50e3)])
def test_harmonics_are_exact_for_any_number_of_samples(frequency_hz: float, rate: float) -> None:
    samples = round(rate / frequency_hz)
    parts = HarmonicFit(samples, 1 / rate, frequency_hz, 20)(cycle(samples, frequency_hz, 1 / rate))
    found = np.abs(parts.amplitudes[0])
    expected = [AMPLITUDES.get(order, 0.0) for order in range(1, 21)]
    np.testing.assert_allclose(found, expected, atol=1e-9)


@pytest.mark.parametrize("rate", [1e6, 96e3])
def test_the_mean_square_is_that_of_the_whole_cycle(rate: float) -> None:
    samples = round(rate / 997.0)
    parts = HarmonicFit(samples, 1 / rate, 997.0, 20)(cycle(samples, 997.0, 1 / rate))
    assert parts.mean_square[0] == pytest.approx(0.3**2 + sum(size**2 for size in AMPLITUDES.values()) / 2, rel=1e-9)


def test_the_mean_square_counts_what_lies_above_the_band() -> None:
    parts = HarmonicFit(1000, 1e-6, 1000.0, 10)(cycle(1000, 1000.0, 1e-6))
    assert parts.mean_square[0] - 0.3**2 - parts.band_mean_square[0] == pytest.approx(0.05**2 / 2)


def test_the_transform_for_many_harmonics_agrees_with_the_fit() -> None:
    samples = round(500e3 / 49.7)
    parts = HarmonicFit(samples, 2e-6, 49.7, 400)(cycle(samples, 49.7, 2e-6))
    assert parts.amplitudes.shape == (1, 400)
    expected = sum(size**2 for order, size in AMPLITUDES.items() if order > 1) / 2
    assert parts.residual_mean_square[0] == pytest.approx(expected, rel=1e-3)


def test_each_row_is_a_cycle_of_its_own() -> None:
    rows = np.vstack([cycle(1000, 1000.0, 1e-6), 2.0 * cycle(1000, 1000.0, 1e-6)])
    parts = HarmonicFit(1000, 1e-6, 1000.0, 20)(rows)
    np.testing.assert_allclose(parts.mean_square[1], 4.0 * parts.mean_square[0])
