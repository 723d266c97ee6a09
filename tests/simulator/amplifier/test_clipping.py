"""The closed forms of a clipped sine, checked by sampling it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.simulator.amplifier.clipping import clipped_sine

ANGLES = (np.arange(20_000) + 0.5) * 2 * np.pi / 20_000


@settings(derandomize=True, max_examples=200, deadline=None)
@given(
    amplitude=st.one_of(st.just(0.0), st.floats(1e-3, 100.0)),
    offset=st.floats(-20.0, 20.0),
    limit=st.floats(0.0, 60.0),
)
def test_means_agree_with_a_sampled_cycle_whatever_amplitude_offset_and_limit(
    amplitude: float, offset: float, limit: float
) -> None:
    sampled = np.clip(amplitude * np.sin(ANGLES) + offset, -limit, limit)
    means = clipped_sine(amplitude, offset, limit)
    assert means.absolute_v == pytest.approx(np.abs(sampled).mean(), abs=1e-4 * (1 + amplitude))
    assert means.square_v2 == pytest.approx((sampled**2).mean(), abs=1e-4 * (1 + amplitude) ** 2)
    assert means.mean_v == pytest.approx(sampled.mean(), abs=1e-4 * (1 + amplitude))


def test_the_clipped_fraction_is_the_slope_of_the_mean_with_the_limit() -> None:
    """d(mean |v|)/dC, by central difference."""
    slope = (clipped_sine(10, 0.5, 8.001).absolute_v - clipped_sine(10, 0.5, 7.999).absolute_v) / 0.002
    assert clipped_sine(10, 0.5, 8).absolute_slope == pytest.approx(slope, rel=1e-6)


def test_the_mean_square_has_the_slope_that_is_stated() -> None:
    """d(mean v²)/dC, by central difference."""
    slope = (clipped_sine(10, 0.5, 8.001).square_v2 - clipped_sine(10, 0.5, 7.999).square_v2) / 0.002
    assert clipped_sine(10, 0.5, 8).square_slope_v == pytest.approx(slope, rel=1e-6)


def test_an_unclipped_constant_is_not_called_clipped() -> None:
    assert clipped_sine(0.0, 0.01, 30.0).absolute_slope == 0.0
    assert clipped_sine(0.0, 40.0, 30.0).absolute_slope == 1.0


def test_a_negative_limit_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be negative"):
        clipped_sine(1.0, 0.0, -0.1)
