"""Distortion of shapes whose harmonics are known in closed form.

Sources: the Fourier series of a symmetrically clipped sine, b_n = (2A / n pi) [sin((n-1) a) / (n-1) +
sin((n+1) a) / (n+1)] with a = asin(clip / A), worked out by hand and checked by quadrature and by a transform of 2^22
points; square and triangle wave from their textbook series.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.measure.signal.harmonics import HarmonicFit
from tests.measure.tones import thd, thd_n

INTERVAL_S = 1e-6
COUNT = 200_000
FIVE_CYCLES = slice(100_000)  # of 50 Hz


def phase(frequency_hz: float) -> np.ndarray:
    return 2 * np.pi * frequency_hz * (np.arange(COUNT) + 0.5) * INTERVAL_S


def clipped(overdrive: float, frequency_hz: float = 1000.0) -> np.ndarray:
    return np.clip(np.sin(phase(frequency_hz)), -1 / overdrive, 1 / overdrive)


# Overdrive that gives 1 % with all harmonics up to this one; from the series.
ONE_PER_CENT = {9: 1.0309868, 19: 1.0294844, 21: 1.0294688}


@pytest.mark.parametrize("highest", [9, 19, 21])
def test_one_per_cent_of_harmonics_up_to_a_given_one(highest: int) -> None:
    found = thd(clipped(ONE_PER_CENT[highest]), INTERVAL_S, 1000.0, band_hz=22e3, highest=highest)
    assert found.ratio == pytest.approx(0.01, rel=1e-4)


@pytest.mark.parametrize("frequency_hz", [997.0, 1000.0])
def test_one_per_cent_within_20_khz_is_one_per_cent_of_thd_n(frequency_hz: float) -> None:
    # THD+N relates to the whole: 1 % of the fundamental is 0.99995 % of the total.
    found = thd_n(clipped(ONE_PER_CENT[19], frequency_hz), INTERVAL_S, frequency_hz)
    assert found.ratio == pytest.approx(0.0099995, rel=1e-3)


@pytest.mark.parametrize(("overdrive", "ratio"), [
    (1.01, 0.00282757), (1.05, 0.01818732), (1.10, 0.03794328), (1.284272145, 0.10), (1.5, 0.15348786),
    (2.0, 0.23293814), (10.0, 0.43039702),
])  # fmt: skip
def test_all_harmonics_of_a_clipped_sine(overdrive: float, ratio: float) -> None:
    # At 50 Hz and a band of 200 kHz nearly all of the infinite series lies in the band.
    found = thd(clipped(overdrive, 50.0)[FIVE_CYCLES], INTERVAL_S, 50.0, band_hz=200e3, highest=1001)
    assert found.ratio == pytest.approx(ratio, rel=2e-3)


@pytest.mark.parametrize(("overdrive", "ratio"), [(1.05, 0.01818432), (1.5, 0.15171122), (2.0, 0.22686458)])
def test_thd_n_of_a_clipped_sine_relates_to_the_total(overdrive: float, ratio: float) -> None:
    assert thd_n(clipped(overdrive, 50.0), INTERVAL_S, 50.0, band_hz=200e3).ratio == pytest.approx(ratio, rel=1e-3)


@pytest.mark.parametrize(("highest", "ratio"), [(5, 0.01523619), (9, 0.01781626), (19, 0.01814100), (21, 0.01816052)])
def test_the_band_decides_how_much_of_a_barely_clipped_sine_is_seen(highest: int, ratio: float) -> None:
    one_cycle = np.clip(np.sin(2 * np.pi * (np.arange(10_000) + 0.5) / 10_000), -1 / 1.05, 1 / 1.05)
    parts = HarmonicFit(10_000, 1e-7, 1000.0, highest)(one_cycle[np.newaxis, :])
    amplitudes = np.abs(parts.amplitudes[0])
    assert math.sqrt(np.sum(amplitudes[1:] ** 2)) / amplitudes[0] == pytest.approx(ratio, rel=1e-4)


@pytest.mark.parametrize(("overdrive", "series"), [
    (1.1, {1: 0.967548687735, 3: 0.0278963295819, 5: 0.0201499107889, 7: 0.0114111821506, 9: 0.00389280150384}),
    (2.0, {1: 0.608997781044, 3: 0.137832223855, 5: 0.0275664447711, 7: 0.00984515884682, 9: 0.0137832223855}),
])  # fmt: skip
def test_the_harmonics_of_one_cycle_are_those_of_the_series(overdrive: float, series: dict[int, float]) -> None:
    samples = 5_000
    one_cycle = np.clip(np.sin(2 * np.pi * (np.arange(samples) + 0.5) / samples), -1 / overdrive, 1 / overdrive)
    amplitudes = np.abs(HarmonicFit(samples, 4e-7, 500.0, 40)(one_cycle[np.newaxis, :]).amplitudes[0])
    for order, amplitude in series.items():
        assert amplitudes[order - 1] == pytest.approx(amplitude, abs=2e-7)
    assert amplitudes[1::2].max() < 1e-9  # a symmetric shape has no even harmonics


@pytest.mark.parametrize(
    ("overdrive", "gain"), [(1.0, 1.0), (1.029349916, 1.04750587), (1.284272145, 1.28776190), (10.0, 1.915032)]
)
def test_clipping_harder_gains_power_over_the_onset_of_clipping(overdrive: float, gain: float) -> None:
    samples = 5_000
    one_cycle = np.clip(overdrive * np.sin(2 * np.pi * (np.arange(samples) + 0.5) / samples), -1.0, 1.0)
    parts = HarmonicFit(samples, 4e-7, 500.0, 40)(one_cycle[np.newaxis, :])
    assert 2 * parts.mean_square[0] == pytest.approx(gain, rel=1e-5)


def test_a_square_wave() -> None:
    # sqrt(pi^2 / 8 - 1) of the fundamental, sqrt(1 - 8 / pi^2) of the total; the band cuts off a little of both.
    square = np.sign(np.sin(phase(50.0)))[FIVE_CYCLES]
    assert thd(square, INTERVAL_S, 50.0, band_hz=200e3, highest=4000).ratio == pytest.approx(
        math.sqrt(math.pi**2 / 8 - 1), rel=1e-3
    )
    assert thd_n(square, INTERVAL_S, 50.0, band_hz=200e3).ratio == pytest.approx(
        math.sqrt(1 - 8 / math.pi**2), rel=1e-3
    )


def test_a_triangle_wave() -> None:
    triangle = 2 / np.pi * np.arcsin(np.sin(phase(500.0)))
    found = thd(triangle, INTERVAL_S, 500.0, band_hz=100e3, highest=199)
    assert found.ratio == pytest.approx(math.sqrt(math.pi**4 / 96 - 1), rel=1e-4)


def test_a_sine_fit_sees_all_of_the_second_harmonic_that_a_notch_would_lose() -> None:
    # THD of V1 = 1, V2 = 0.003, V3 = 0.004 by the definition is 0.5 %; a notch of Q 1.2 (AES17) reads V2 12.6 % low.
    record = np.sin(phase(1000.0)) + 0.003 * np.sin(2 * phase(1000.0)) + 0.004 * np.sin(3 * phase(1000.0))
    assert thd(record, INTERVAL_S, 1000.0).ratio == pytest.approx(0.005, rel=1e-6)
    assert thd_n(record, INTERVAL_S, 1000.0).ratio == pytest.approx(0.005 / math.sqrt(1 + 0.005**2), rel=1e-6)
