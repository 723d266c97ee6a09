"""What a record thinned to means still holds of the steps of its converter."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.fit.reading.thinning import left_of_steps


@pytest.mark.parametrize("noise_steps", [0.15, 0.25, 0.3])
def test_steps_leave_in_a_mean_what_their_noise_does_not_average_out(noise_steps: float) -> None:
    """The largest error of a mean over levels within one step, found by rounding itself."""
    noise = np.random.default_rng(3).normal(0.0, noise_steps, 200_000)
    off = [float(np.mean(np.rint(level + noise)) - np.mean(noise) - level) for level in np.linspace(-0.5, 0.5, 21)]
    seen = math.hypot(noise_steps, 1.0 / math.sqrt(12.0))
    assert left_of_steps(seen, 1.0) == pytest.approx(max(map(abs, off)), rel=0.15)
