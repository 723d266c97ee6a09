"""The prediction of a final temperature against the worked step response of a three-stage Foster network."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.measure.signal.thermal import predict_final_temperature

# 50 W into R 0.5, 1.2, 0.8 K/W with C 2, 50, 900 J/K: the sum of P R (1 - exp(-t / RC)), the textbook step response,
# verified through the eigenvalues of the equivalent ladder. Time in s -> rise in K.
RISE_K = {1: 16.850244, 10: 34.761677, 60: 66.125457, 300: 98.226098, 1200: 117.444976, 3600: 124.730482}
END_K = 125.0


def _rise_k(times_s: np.ndarray) -> np.ndarray:
    stages = ((25.0, 1.0), (60.0, 60.0), (40.0, 720.0))
    return np.sum([rise_k * (1.0 - np.exp(-times_s / tau_s)) for rise_k, tau_s in stages], axis=0)


def test_the_network_used_here_is_the_published_one() -> None:
    assert _rise_k(np.array(list(RISE_K))) == pytest.approx(list(RISE_K.values()), abs=1e-6)


@pytest.mark.parametrize("minutes", [12, 20, 40])
def test_two_stages_foretell_the_end_of_a_network_of_three(minutes: int) -> None:
    """The fastest stage, of 1 s, is over before the first reading, so two stages are enough."""
    times_s = np.arange(15.0, minutes * 60.0, 2.0)
    readings_c = 25.0 + _rise_k(times_s) + 0.05 * np.random.default_rng(5).standard_normal(times_s.size)
    prediction = predict_final_temperature(times_s, readings_c)
    assert abs(prediction.final_c - 25.0 - END_K) <= prediction.expanded_uncertainty_k
    assert prediction.expanded_uncertainty_k < {12: 6.0, 20: 2.0, 40: 0.5}[minutes]


def test_the_time_constants_of_the_network_are_found() -> None:
    times_s = np.arange(15.0, 3600.0, 2.0)
    readings_c = 25.0 + _rise_k(times_s) + 0.02 * np.random.default_rng(6).standard_normal(times_s.size)
    slow_s, fast_s = predict_final_temperature(times_s, readings_c).time_constants_s
    assert slow_s == pytest.approx(720.0, rel=0.02)
    assert fast_s == pytest.approx(60.0, rel=0.05)
