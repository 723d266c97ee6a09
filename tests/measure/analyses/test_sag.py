"""The sag of a supply voltage that a coarse converter shows: inside its uncertainty, or a bound."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.measure.analyses.supply_figures import supply_figures
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import Capture
from benchctl.measure.signal.supply import Span
from tests.measure.conftest import Samples, digitise

RATE_HZ = 500e3
SAMPLES = 10_000
STEP_V = 20.0 / 256.0
TIMES_S = np.arange(SAMPLES) / RATE_HZ


def sag_of(voltage_v: Samples, noise_steps: float, seed: int) -> Figure:
    """Of a voltage anywhere between two steps of eight bits over 20 V."""
    rng = np.random.default_rng(seed)
    values = voltage_v + 4.4 + rng.uniform(-0.5, 0.5) * STEP_V + rng.normal(0.0, noise_steps * STEP_V, SAMPLES)
    capture = Capture("c", 0.0, 1.0 / RATE_HZ, {"supply voltage": digitise(values, 20.0, bits=8)}, 0.0)
    figures = supply_figures(Signals(capture, {}), Span(0, SAMPLES, 8))
    return next(figure for figure in figures if figure.name == "supply_voltage_sag")


def _beyond(figure: Figure, true_v: float) -> float:
    """By how much the truth lies outside what the figure says; less than nothing inside."""
    if figure.expanded_uncertainty is None:
        return true_v - figure.value
    return abs(figure.value - true_v) - figure.expanded_uncertainty


@pytest.mark.parametrize("noise_steps", [0.02, 0.3, 1.0, 3.0])
def test_a_steady_voltage_has_no_sag_but_a_bound(noise_steps: float) -> None:
    """It lies four standard uncertainties below what would be a value, which happens once in ten thousand draws."""
    figures = [sag_of(np.zeros(SAMPLES), noise_steps, seed) for seed in range(20)]
    assert all(figure.bound == "at most" for figure in figures)
    assert all(figure.value > 0.0 for figure in figures)


@pytest.mark.parametrize("noise_steps", [0.5, 1.0, 3.0])
@pytest.mark.parametrize("steps", [3.0, 10.0])
def test_a_supply_that_sinks_at_once_from_its_highest_voltage_is_not_taken_for_a_level_one(
    steps: float, noise_steps: float
) -> None:
    """An exponential fall of so many steps, with a time constant of 4 ms over 20 ms. Of forty draws 38 are expected
    inside, and fewer than 35 once in seventy (binomial)."""
    fall = -steps * STEP_V * (1.0 - np.exp(-TIMES_S / 4e-3)) / (1.0 - np.exp(-5.0))
    figures = [sag_of(fall, noise_steps, seed) for seed in range(40)]
    missed = [_beyond(figure, steps * STEP_V) for figure in figures]
    # Means over 24 us leave out as much of the fall as happens in half of that, 0.003 of it.
    assert sum(over < 0.003 * steps * STEP_V for over in missed) >= 35
