"""Droop is told in per cent always, and as a time constant only where the burst shows one."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.errors import RecordTooShort, SilentRecord
from benchctl.measure.bursts.droop import find_droop

TIMES_S = np.arange(20) * 1e-3


def sinking(tau_s: float, *, fall: float = 4.0, noise: float = 0.0, seed: int = 0) -> np.ndarray:
    return 36.0 + fall * np.exp(-TIMES_S / tau_s) + np.random.default_rng(seed).normal(0.0, 1.0, TIMES_S.size) * noise


def test_droop_is_the_part_by_which_the_last_peak_is_lower() -> None:
    assert find_droop(TIMES_S, np.linspace(40.0, 36.0, 20), 0.0).ratio.nominal_value == pytest.approx(0.1)


def test_its_uncertainty_is_that_of_two_peaks() -> None:
    found = find_droop(TIMES_S[:2], np.array([40.0, 40.0]), 0.04)
    assert found.ratio.std_dev == pytest.approx(0.001 * np.sqrt(2))


@pytest.mark.parametrize("tau_s", [2e-3, 10e-3, 25e-3])
def test_the_time_constant_of_a_reservoir_is_found(tau_s: float) -> None:
    found = find_droop(TIMES_S, sinking(tau_s), 0.005).time_constant_s
    assert found is not None
    assert found.nominal_value == pytest.approx(tau_s, rel=1e-4)


def test_its_stated_uncertainty_covers_the_truth_nineteen_times_in_twenty() -> None:
    misses = 0
    for seed in range(200):
        found = find_droop(TIMES_S, sinking(10e-3, noise=0.03, seed=seed), 0.03).time_constant_s
        assert found is not None
        misses += abs(found.nominal_value - 10e-3) > 2 * found.std_dev
    assert misses <= 20  # 10 expected of 200


@pytest.mark.parametrize(
    "peaks",
    [
        np.full(20, 40.0),
        40.0 + 0.05 * np.sin(np.arange(20)),
        np.linspace(40.0, 36.0, 20),  # a straight line shows no end
        sinking(10e-3)[::-1],  # and neither does one that rises
    ],
    ids=["none", "scatter", "straight", "rising"],
)
def test_where_the_burst_shows_no_time_constant_none_is_told(peaks: np.ndarray) -> None:
    assert find_droop(TIMES_S, peaks, 0.03).time_constant_s is None


def test_four_cycles_are_too_few_for_a_time_constant() -> None:
    assert find_droop(TIMES_S[:4], sinking(2e-3)[:4], 0.001).time_constant_s is None


def test_one_cycle_has_no_droop() -> None:
    with pytest.raises(RecordTooShort):
        find_droop(TIMES_S[:1], np.array([40.0]), 0.01)


def test_a_first_cycle_without_a_peak_has_none() -> None:
    with pytest.raises(SilentRecord):
        find_droop(TIMES_S[:2], np.array([0.0, 1.0]), 0.01)


def test_a_time_constant_that_noise_leaves_open_by_more_than_a_twentieth_is_not_told() -> None:
    """Those that chance makes short would be told, and the others not."""
    known = find_droop(TIMES_S, sinking(10e-3), 0.03).time_constant_s
    assert known is not None
    assert known.std_dev < 0.05 * known.nominal_value
    told = [find_droop(TIMES_S, sinking(10e-3, noise=0.09, seed=seed), 0.09).time_constant_s for seed in range(50)]
    assert told == [None] * 50
