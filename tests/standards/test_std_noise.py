"""A-weighting against the published table, and signal-to-noise against worked values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from benchctl.measure.noise.spectrum import noise_spectrum
from benchctl.measure.noise.weighting import a_weighting_db

# Table 2 of GOST 17187-2010 (identical with IEC 61672-1:2002), A in dB to 0.1 dB, at exact frequencies 10^(n/10) Hz,
# n from 10 (10 Hz) to 43 (20 kHz).
# fmt: off
A_TABLE_DB = (
    -70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9, -8.6, -6.6, -4.8,
    -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3,
)
# fmt: on


@pytest.mark.parametrize(("number", "expected_db"), list(enumerate(A_TABLE_DB, start=10)))
def test_a_weighting_agrees_with_the_table_to_its_last_place(number: int, expected_db: float) -> None:
    assert float(a_weighting_db(10.0 ** (number / 10.0))) == pytest.approx(expected_db, abs=0.0501)


def test_a_weighting_agrees_with_the_analogue_filter_of_its_poles() -> None:
    """The same curve by another road: scipy's response of a filter with two zeros less than six poles."""
    poles_hz = (20.598997, 20.598997, 107.652649, 737.862231, 12194.217148, 12194.217148)
    frequencies_hz = np.geomspace(10.0, 40e3, 50)
    response = signal.freqs_zpk([0] * 4, [-2 * np.pi * f for f in poles_hz], 1.0, 2 * np.pi * frequencies_hz)[1]
    at_1_khz = signal.freqs_zpk([0] * 4, [-2 * np.pi * f for f in poles_hz], 1.0, [2 * np.pi * 1e3])[1]
    expected_db = 20.0 * np.log10(np.abs(response / at_1_khz))
    assert a_weighting_db(frequencies_hz) == pytest.approx(expected_db, abs=1e-3)


# RMS noise in V re 1 W in 4 ohm, that is 2.0 V, as CEA-2006 refers it: arithmetic
def test_white_noise_is_weighted_as_its_density_under_the_curve() -> None:
    """Against the integral of the A curve over the band, by scipy's quadrature."""
    from scipy.integrate import quad

    rate_hz, density = 200e3, 1e-6  # V²/Hz
    record = np.random.default_rng(11).standard_normal(400_000) * math.sqrt(density * rate_hz / 2.0)
    spectrum = noise_spectrum(record, 1.0 / rate_hz)
    under_curve = quad(lambda f: 10.0 ** (float(a_weighting_db(f)) / 10.0), 20.0, 20e3, limit=200)[0]
    assert math.sqrt(spectrum.square()) == pytest.approx(math.sqrt(density * (20e3 - 20.0)), rel=0.01)
    assert math.sqrt(spectrum.square(spectrum.weights)) == pytest.approx(math.sqrt(density * under_curve), rel=0.01)
