"""The clipped sine against its closed form, computed two independent ways (2^22-point transform, and quadrature)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from benchctl.measure.search.clipping import KNEES, clipped_sine_distortion, distortion_curve, drive_grid_db


def _db(ratio: float) -> float:
    return 20.0 * math.log10(ratio)


# amplitude over clip level -> harmonics over fundamental in per cent; Fourier series of the clipped sine
TABLE = {
    1.01: 0.282757, 1.02: 0.641937, 1.05: 1.818732, 1.10: 3.794328, 1.25: 8.978576, 1.50: 15.348786,
    2.00: 23.293814, 3.00: 31.327917, 10.0: 43.039702, 100.0: 47.802245,
}  # fmt: skip


@pytest.mark.parametrize(("overdrive", "per_cent"), TABLE.items())
def test_distortion_of_a_clipped_sine_agrees_with_its_fourier_series(overdrive: float, per_cent: float) -> None:
    assert 100.0 * clipped_sine_distortion(_db(overdrive)) == pytest.approx(per_cent, abs=1e-6)


# distortion -> amplitude over clip level, solved in arbitrary precision from the same series
LEVELS = {0.001: 1.004231558, 0.01: 1.029349916, 0.03: 1.079652120, 0.10: 1.284272145, 0.20: 1.757339606}


@pytest.mark.parametrize(("distortion", "overdrive"), LEVELS.items())
def test_distortion_reaches_each_bound_at_the_published_overdrive(distortion: float, overdrive: float) -> None:
    assert clipped_sine_distortion(_db(overdrive)) == pytest.approx(distortion, rel=1e-6)


def test_a_hopelessly_overdriven_sine_tends_to_a_square_wave() -> None:
    """All harmonics of a square wave over its fundamental: sqrt(pi²/8 - 1), from the sum of 1/n² over odd n."""
    assert clipped_sine_distortion(100.0) == pytest.approx(math.sqrt(math.pi**2 / 8 - 1), rel=1e-4)


def test_there_is_no_distortion_at_the_onset_and_below() -> None:
    assert clipped_sine_distortion(0.0) == 0.0
    assert clipped_sine_distortion(-20.0) == 0.0


@pytest.mark.parametrize("knee", [k for k in KNEES if math.isfinite(k)])
def test_soft_clippers_agree_with_quadrature(knee: float) -> None:
    """At the onset level; the Fourier integrals by scipy's adaptive quadrature are the independent road."""

    def clipped(angle: float) -> float:
        sine = math.sin(angle)
        return sine / (1.0 + sine**knee) ** (1.0 / knee)

    fundamental = 4.0 / math.pi * quad(lambda a: clipped(a) * math.sin(a), 0.0, math.pi / 2, epsabs=1e-13)[0]
    mean_square = 2.0 / math.pi * quad(lambda a: clipped(a) ** 2, 0.0, math.pi / 2, epsabs=1e-13)[0]
    expected = math.sqrt(mean_square - fundamental**2 / 2.0) / (fundamental / math.sqrt(2.0))
    ours = math.exp(float(np.interp(0.0, drive_grid_db(), distortion_curve(knee))))
    assert ours == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("knee", KNEES)
def test_distortion_never_falls_as_the_drive_rises(knee: float) -> None:
    assert np.all(np.diff(distortion_curve(knee)) >= -1e-9)
