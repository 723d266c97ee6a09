"""What a record thinned to means still holds of the errors of its converter."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.fit.examination import Examination
from benchctl.fit.reading.items import METER_CURRENT
from benchctl.fit.reading.thinning import left_of_steps


@pytest.mark.parametrize("noise_steps", [0.15, 0.25, 0.3])
def test_steps_leave_in_a_mean_what_their_noise_does_not_average_out(noise_steps: float) -> None:
    """The largest error of a mean over levels within one step, found by rounding itself."""
    noise = np.random.default_rng(3).normal(0.0, noise_steps, 200_000)
    off = [float(np.mean(np.rint(level + noise)) - np.mean(noise) - level) for level in np.linspace(-0.5, 0.5, 21)]
    seen = math.hypot(noise_steps, 1.0 / math.sqrt(12.0))
    assert left_of_steps(seen, 1.0) == pytest.approx(max(map(abs, off)), rel=0.15)


def test_the_gain_of_a_meter_may_have_moved_between_two_records(found: Examination) -> None:
    """By a fiftieth of its stated accuracy, whose standard uncertainty is that over the root of three."""
    meters = [take.items[METER_CURRENT] for take in found.run.takes if METER_CURRENT in take.items]
    assert len(meters) >= 3
    for item in meters:
        assert item.scale.gain_u > 0.0
        assert item.noise[0] >= 0.02 * np.sqrt(3.0) * item.scale.gain_u * item.values[0]
