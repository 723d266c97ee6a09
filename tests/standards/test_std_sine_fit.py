"""Sine fits against worked records, an independent least-squares solver and the bounds of theory."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from benchctl.measure.signal.sine import fit_sine
from tests.measure.tones import fit_sine_4

# Twenty samples at 1 kSa/s of a sine rounded to 1 mV. The parameters below were worked out with a separate matrix
# program and with scipy.optimize.least_squares, which agree to 1e-9.
WORKED = np.array(
    [
        *(2.363, 1.677, 0.786, -0.178, -1.070, -1.759, -2.142, -2.163, -1.818, -1.159),
        *(-0.284, 0.679, 1.585, 2.300, 2.719, 2.778, 2.470, 1.840, 0.981, 0.021),
    ]
)


def test_the_worked_record_with_its_frequency_sought_from_60_hz() -> None:
    fit = fit_sine_4(WORKED, 1e-3, 60.0)
    assert fit.frequency_hz == pytest.approx(61.7000924520, abs=1e-9)
    assert fit.amplitude == pytest.approx(2.4999974311, abs=1e-9)
    assert fit.phase_rad == pytest.approx(0.6000408231, abs=1e-9)
    assert fit.offset == pytest.approx(0.3000815938, abs=1e-9)
    assert fit.residual_rms == pytest.approx(2.748168907e-4, rel=1e-8)


@pytest.mark.parametrize(
    ("frequency_hz", "cosine", "sine", "offset", "residual_rms"),
    [
        (60.0, 1.9007033818, -1.6065015327, 0.3188441792, 0.1207416854),
        (61.7, 2.0632712578, -1.4117005450, 0.3000825434, 2.748954808e-4),
    ],
)
def test_the_worked_record_at_a_known_frequency(
    frequency_hz: float, cosine: float, sine: float, offset: float, residual_rms: float
) -> None:
    fit = fit_sine(WORKED, 1e-3, frequency_hz)
    assert fit.amplitude * math.cos(fit.phase_rad) == pytest.approx(cosine, abs=1e-9)
    assert -fit.amplitude * math.sin(fit.phase_rad) == pytest.approx(sine, abs=1e-9)
    assert fit.offset == pytest.approx(offset, abs=1e-9)
    assert fit.residual_rms == pytest.approx(residual_rms, rel=1e-8)


def test_a_third_of_a_cycle_is_enough_at_a_known_frequency() -> None:
    # Closed form: A = 1.2, B = -0.7, so the amplitude is sqrt 1.93 and the phase atan2(0.7, 1.2).
    angle = 2 * np.pi * 997.0 / 48_000.0 * np.arange(16)
    fit = fit_sine(1.2 * np.cos(angle) - 0.7 * np.sin(angle) + 0.05, 1 / 48_000.0, 997.0)
    assert fit.amplitude == pytest.approx(math.sqrt(1.93), abs=1e-12)
    assert math.degrees(fit.phase_rad) == pytest.approx(30.25643716, abs=1e-8)
    assert fit.offset == pytest.approx(0.05, abs=1e-12)
    assert fit.residual_rms < 1e-15


@pytest.mark.parametrize("seed", range(8))
def test_the_four_parameter_fit_is_scipys_least_squares(seed: int) -> None:
    random = np.random.default_rng(seed)
    frequency, phase, offset = random.uniform(0.02, 0.2), random.uniform(-3, 3), random.uniform(-1, 1)
    n = np.arange(int(random.uniform(100, 1000)))
    record = 2.0 * np.cos(2 * np.pi * frequency * n + phase) + offset + random.normal(0, 0.1, n.size)

    def left(parameters: np.ndarray) -> np.ndarray:
        amplitude, hertz, angle, dc = parameters
        return amplitude * np.cos(2 * np.pi * hertz * n + angle) + dc - record

    reference = least_squares(left, [2.0, frequency, phase, offset], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    fit = fit_sine_4(record, 1.0, frequency * random.uniform(0.98, 1.02))
    assert fit.frequency_hz == pytest.approx(reference.x[1], rel=1e-8)
    assert fit.amplitude == pytest.approx(reference.x[0], rel=1e-7)
    assert fit.residual_rms == pytest.approx(math.sqrt(2 * reference.cost / n.size), rel=1e-9)


@pytest.mark.parametrize(("bits", "sinad_db"), [(8, 49.987), (10, 62.005), (12, 74.028), (14, 86.061), (16, 98.063)])
def test_the_residual_is_what_an_ideal_converter_adds(bits: int, sinad_db: float) -> None:
    # A mid-rise quantiser on 997 cycles in 65536 samples; SINAD from a separate program, ideal 6.0206 N + 1.7609 dB
    # (IEEE Std 1057): rms of the sine over rms of all that is left.
    step = 2.0 / 2**bits
    n = np.arange(65536)
    tone = (1 - step / 2) * np.sin(2 * np.pi * 997 * n / 65536 + 0.1)
    fit = fit_sine_4(step * (np.floor(tone / step) + 0.5), 1.0, 997 / 65536)
    found_db = 20 * math.log10(fit.rms / fit.residual_rms)
    assert found_db == pytest.approx(sinad_db, abs=0.3)
    assert found_db == pytest.approx(20 * bits * math.log10(2) + 10 * math.log10(1.5), abs=0.3)


def test_the_scatter_of_the_fit_is_the_least_that_theory_allows() -> None:
    # Rife and Boorstyn 1974 (from memory): var w >= 24 s^2 / (A^2 N (N^2 - 1)) rad^2, var A >= 2 s^2 / N.
    # N = 1000 at 60 dB: 1.095446e-7 rad a sample and 3.162278e-5 for A = 1 with s = A / (1000 sqrt 2).
    n = np.arange(1000)
    random = np.random.default_rng(5)
    sigma = 1e-3 / math.sqrt(2)
    fits = [
        fit_sine_4(np.cos(0.7 * n + random.uniform(-3, 3)) + random.normal(0, sigma, 1000), 1.0, 0.7 / (2 * np.pi))
        for _ in range(300)
    ]
    omega = 2 * np.pi * np.array([fit.frequency_hz for fit in fits])
    amplitude = np.array([fit.amplitude for fit in fits])
    # The scatter of 300 fits is itself known to 4 %; four times that is allowed.
    assert np.std(omega) == pytest.approx(math.sqrt(24 * sigma**2 / (1000 * (1000**2 - 1))), rel=0.16)
    assert np.std(amplitude) == pytest.approx(sigma * math.sqrt(2 / 1000), rel=0.16)
