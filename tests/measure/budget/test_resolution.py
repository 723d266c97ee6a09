"""What the steps of a display leave open: as stated, or as the readings show."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.measure.budget.resolution import mean_as_shown, rounding_of
from benchctl.measure.freedom import expanded
from benchctl.measure.uncertainty import Accuracy, ErrorOf

# +-20 mA + 1 % of a reading of 1.2 A: 32 mA.
METER = (Accuracy(reading=0.01, fixed=0.02),)


def half_step(step: float) -> float:
    """Rectangular within half a step: step / sqrt 12 (JCGM 100, F.2.2.1)."""
    return step / math.sqrt(12.0)


@pytest.mark.parametrize(
    ("readings", "step"),
    [
        ([1.2, 1.3, 1.2], 0.1),  # they differ by a whole step
        ([1.20, 1.21, 1.21], 0.01),
        ([1.203, 1.202], 1e-3),
        ([1.21], 0.01),  # the largest within 32 mA that fits
        ([1.22], 0.02),
        ([1.2], 0.02),  # a display of 0.1 A that stands still looks like that; it has to be stated
    ],
)
def test_the_step_is_seen_from_the_readings(readings: list[float], step: float) -> None:
    assert rounding_of(readings, METER).std_dev == pytest.approx(half_step(step))


def test_a_stated_step_counts_whatever_the_readings_look_like() -> None:
    stated = (Accuracy(reading=0.01, fixed=0.02, resolution=0.1),)
    assert rounding_of([1.2, 1.2], stated).std_dev == pytest.approx(half_step(0.1))


def test_readings_that_scatter_by_more_than_a_step_are_averaged_to_less_than_a_step() -> None:
    assert rounding_of([1.1, 1.2, 1.3, 1.2], (Accuracy(resolution=0.1),)).std_dev == 0.0


def test_a_meter_of_no_known_error_that_stands_still_tells_no_step() -> None:
    assert rounding_of([1.2], ()).std_dev == 0.0


def test_of_a_coarse_supply_u_holds_the_truth_as_often_as_it_says() -> None:
    """2,000 currents, a display of 0.1 A with noise of 5 mA: rounding decides, so U = 2 x 0.1 / sqrt 12 holds all."""
    chance = np.random.default_rng(5)
    stated = (Accuracy(resolution=0.1),)
    true_a = chance.uniform(1.0, 2.0, size=2000)
    shown = np.round((true_a[:, None] + chance.normal(0.0, 0.005, size=(2000, 4))) / 0.1) * 0.1
    errors = [
        (float(mean.nominal_value) - true) / float(mean.std_dev)
        for mean, true in zip((mean_as_shown(row, stated) for row in shown.tolist()), true_a, strict=True)
    ]
    assert 0.85 < float(np.std(errors)) < 1.15
    assert max(map(abs, errors)) < 2.0


def test_beside_a_limit_of_error_as_large_as_the_step_u_holds_95_percent_of_currents_but_not_of_each() -> None:
    """100 currents, each shown to 500 meters that are anywhere within +-0.1 A, in steps of 0.1 A. Errors of a current
    are a step apart. Those of meter and display together are a trapezoid, 0.3 A wide below and 0.1 A above, whose
    central 95.45 % are within 0.15 A - sqrt(0.0455 x 0.01 A^2 x 2) = 0.12 A; 0.12 A to one side and so -0.08 A and
    0.02 A to the other: the trapezoid is 0.3 of its height there, 15 % of meters."""
    stated = (Accuracy(fixed=0.1, resolution=0.1),)
    u_a, _ = expanded(ErrorOf(stated).on(mean_as_shown([0.7, 0.7], stated)))
    true_a = 0.6 + np.arange(100) / 1000.0
    meters_a = np.linspace(-0.1, 0.1, 500)
    shown_a = np.round((true_a[:, np.newaxis] + meters_a) / 0.1) * 0.1
    held = (np.abs(shown_a - true_a[:, np.newaxis]) <= u_a).mean(axis=1)
    assert u_a == pytest.approx(0.12, abs=0.001)
    assert held.mean() == pytest.approx(0.9545, abs=0.005)
    assert (held.min(), held.max()) == (pytest.approx(0.85, abs=0.01), 1.0)
