"""Closed forms from which a fit begins, against the exponentials that they are closed forms of."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.fit.reading.items import CURRENT, Instants, Item, Scale, Take
from benchctl.fit.starts import recovery_s

EDGES_S = np.array([0.0, 1.0, 3.0, 7.0, 14.0, 26.0]) * 1e-3
SCALE = Scale(CURRENT, 0.0, "", 0.0, 0.0)


def burst_of(current_a: np.ndarray, edges_s: np.ndarray) -> Take:
    """One bin before the trigger, two within the burst, and those between the edges after it."""
    instants = Instants(np.arange(3.0), np.array([1]), np.array([[0, 1], [1, 2]]), edges_s)
    items = {CURRENT: Item(CURRENT, current_a, np.ones(len(current_a)), SCALE)}
    return Take("", "", "burst", 1e3, 1.0, 14.4, ("A",), 0.1, 2, {}, instants, {}, items, None, 0.0)


@pytest.mark.parametrize("constant_s", [0.8e-3, 2.5e-3, 5e-3])
def test_the_supplys_current_after_a_burst_tells_how_fast_rails_recover(constant_s: float) -> None:
    left = np.exp(-EDGES_S / constant_s)
    after_a = 2.0 + 30.0 * constant_s * (left[:-1] - left[1:]) / np.diff(EDGES_S)
    burst = burst_of(np.concatenate([[2.0, 20.0, 32.0], after_a]), EDGES_S)
    assert recovery_s([burst]) == pytest.approx(constant_s, rel=0.01)


def test_a_record_that_ends_with_its_burst_tells_nothing_of_that() -> None:
    assert recovery_s([burst_of(np.array([2.0, 20.0, 32.0]), EDGES_S[:1])]) is None
