"""Rise time, overshoot, ringing and tilt of square waves against the closed forms of step responses.

One pole and second order: any text on control, such as Ogata, Modern Control Engineering, 5-3 (from memory); the
numbers were worked out by hand from those forms.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from benchctl.measure.analyses.square_figures import RISE_TIMES_BANDWIDTH, without_own
from benchctl.measure.shapes.square import SquareWave, square_wave
from benchctl.measure.uncertainty import exactly

Samples = NDArray[np.float64]
INTERVAL_S, SQUARE_HZ, PERIODS = 20e-9, 1000.0, 3


def square_of(step_from_zero: Samples) -> SquareWave:
    """A square wave of +-1, each edge of which is this response to a step of 1 (settled within half a period)."""
    half = round(0.5 / SQUARE_HZ / INTERVAL_S)
    edge = 2.0 * step_from_zero[:half] - 1.0
    return square_wave(np.concatenate([edge, -edge] * PERIODS), INTERVAL_S, SQUARE_HZ)


def second_order(damping: float, natural_hz: float) -> Samples:
    """1 - exp(-z w t) (cos v t + z / sqrt(1 - z^2) sin v t), v = w sqrt(1 - z^2)."""
    time_s = np.arange(round(0.5 / SQUARE_HZ / INTERVAL_S)) * INTERVAL_S
    omega, root = 2.0 * math.pi * natural_hz, math.sqrt(1.0 - damping**2)
    turned = omega * root * time_s
    swings = np.exp(-damping * omega * time_s) * (np.cos(turned) + damping / root * np.sin(turned))
    return np.asarray(1.0 - swings)


@pytest.mark.parametrize(("pole_hz", "rise_us"), [(100e3, 3.497), (20e3, 17.485)])
def test_one_pole_rises_in_a_third_of_a_period_of_its_bandwidth(pole_hz: float, rise_us: float) -> None:
    """ln 9 / (2 pi f) = 0.349699 / f."""
    time_s = np.arange(25_000) * INTERVAL_S
    seen = square_of(1.0 - np.exp(-2.0 * math.pi * pole_hz * time_s))
    assert seen.slowest.rise_s == pytest.approx(rise_us * 1e-6, rel=5e-3)
    assert seen.slowest.overshoot == pytest.approx(0.0, abs=1e-6)
    assert pytest.approx(0.349699, rel=1e-6) == RISE_TIMES_BANDWIDTH


@pytest.mark.parametrize(
    ("damping", "overshoot", "rise_by_omega"),
    [
        (0.2, 0.526621, 1.2034),
        (0.3, 0.372326, 1.3213),
        (0.4, 0.253827, 1.4635),
        (0.5, 0.163034, 1.6376),
        (0.6, 0.094780, 1.8540),
        (0.7071, 0.043214, 2.1480),
        (0.8, 0.015165, 2.4675),
    ],
)
def test_a_second_order_edge_shoots_over_by_its_damping(damping: float, overshoot: float, rise_by_omega: float) -> None:
    """exp(-pi z / sqrt(1 - z^2)), and the time from 10 % to 90 % in 1 / w."""
    seen = square_of(second_order(damping, 60e3)).slowest
    assert seen.overshoot == pytest.approx(overshoot, abs=2e-3)
    assert seen.rise_s * 2.0 * math.pi * 60e3 == pytest.approx(rise_by_omega, rel=5e-3)


def test_it_rings_at_its_damped_frequency() -> None:
    """w sqrt(1 - z^2): 60 kHz and 0.2 are 58.788 kHz."""
    assert square_of(second_order(0.2, 60e3)).slowest.ringing_hz == pytest.approx(58.788e3, rel=0.01)


@pytest.mark.parametrize(
    ("corner", "tilt"),
    [(0.001, 0.003142), (0.005, 0.015708), (0.01, 0.031413), (0.02, 0.062811), (0.05, 0.156757), (0.1, 0.311601)],
)
def test_a_high_pass_tilts_the_top_over_its_mean(corner: float, tilt: float) -> None:
    """2 (1 - x) / (1 + x), x = exp(-pi fc / f); over the first value it would be 1 - x."""
    half = 25_000
    place = np.arange(half) / (2 * half)
    decay = math.exp(-math.pi * corner)
    top = 2.0 / (1.0 + decay) * np.exp(-2.0 * math.pi * corner * place)
    seen = square_wave(np.concatenate([top, -top] * PERIODS), INTERVAL_S, SQUARE_HZ)
    assert np.mean([each.tilt for each in seen.tops]) == pytest.approx(tilt, abs=1e-4)


def test_a_slewing_edge_takes_as_long_as_its_step_over_the_slew_rate() -> None:
    """0.8 of 80 V at 5 V/us are 12.8 us."""
    ramp = np.clip(np.arange(25_000) * INTERVAL_S * 5e6 / 80.0, 0.0, 1.0)
    assert square_of(ramp).slowest.rise_s == pytest.approx(12.8e-6, rel=2e-3)


def test_rise_times_come_off_in_squares() -> None:
    """1.0595 us seen with 0.35 us of the instruments' own are 1.000 us."""
    alone = without_own(exactly(1.0595e-6), 0.35e-6)
    assert alone is not None
    assert alone.nominal_value == pytest.approx(1.000e-6, rel=1e-4)
    assert without_own(exactly(1.0e-6), 0.6e-6) is None
