"""How much of rounding noise makes random, against rounding itself."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.measure.signal.rounding import alike


@pytest.mark.parametrize("noise", [0.05, 0.1, 0.2, 0.3])
def test_what_stays_alike_is_what_averaging_over_noise_leaves(noise: float) -> None:
    """Many values, each rounded often with fresh noise: the mean error of each is alike, the scatter is random."""
    values = np.linspace(-0.5, 0.5, 100, endpoint=False)[:, np.newaxis]
    hiss = np.random.default_rng(4).normal(0.0, noise, 20_000)
    errors = np.rint(values + hiss) - values
    seen = math.sqrt(float(errors.var(axis=1).mean()))
    assert alike(seen, 1.0) == pytest.approx(float((errors.mean(axis=1) ** 2).mean()), rel=0.05, abs=2e-4)


def test_without_noise_all_of_it_is_alike() -> None:
    assert alike(0.0, 2.0) == pytest.approx(4.0 / 12.0, rel=0.02)


def test_much_noise_leaves_nothing_alike() -> None:
    assert alike(1.0, 1.0) == pytest.approx(0.0, abs=1e-12)


def test_without_steps_nothing_is_rounded() -> None:
    assert alike(0.0, 0.0) == 0.0
