"""How long and how fine a record of a steady tone is."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.measure.signal.distortion import harmonic_distortion, tone_spectrum
from benchctl.runner.acting.records.record_taking import steady_record


@pytest.mark.parametrize("frequency_hz", [1e3, 5e3, 10e3, 20e3])
def test_what_lies_beyond_half_the_sample_rate_moves_the_distortion_of_a_clipped_tone_little(
    frequency_hz: float,
) -> None:
    """An oscilloscope has no filter below half its sample rate. Against the Fourier series of a clipped sine."""
    record = steady_record(frequency_hz)
    interval_s = record.span_s / record.samples
    clip = np.sin(1.35)
    values = np.clip(np.sin(2 * np.pi * frequency_hz * np.arange(record.samples) * interval_s), -clip, clip)
    found = harmonic_distortion(tone_spectrum(values, interval_s, frequency_hz), band_hz=10.5 * frequency_hz).ratio
    assert found == pytest.approx(clipped_sine_thd(1.35, (3, 5, 7, 9)), rel=2e-3)


def clipped_sine_thd(angle: float, orders: tuple[int, ...]) -> float:
    """A sine clipped at sin(angle): its harmonics by integration over a quarter of a cycle, in closed form."""

    def line(order: int) -> float:
        rising = _product(order - 1, angle) - _product(order + 1, angle)
        return rising / 2.0 + np.sin(angle) * np.cos(order * angle) / order

    return float(np.sqrt(sum(line(order) ** 2 for order in orders)) / line(1))


def _product(order: int, angle: float) -> float:
    """The integral of cos(order x) from 0 to `angle`."""
    return angle if order == 0 else float(np.sin(order * angle) / order)
