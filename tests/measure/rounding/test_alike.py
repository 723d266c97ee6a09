"""How much of rounding noise makes random, against rounding itself."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.measure.rounding.alike import alike, alike_at_most, left_of_mean, noise_itself


@pytest.mark.parametrize("noise", [0.05, 0.1, 0.2, 0.3])
def test_what_stays_alike_is_what_averaging_over_noise_leaves(noise: float) -> None:
    """Many values, each rounded often with fresh noise: the mean error of each is alike, the scatter is random."""
    values = np.linspace(-0.5, 0.5, 100, endpoint=False)[:, np.newaxis]
    hiss = np.random.default_rng(4).normal(0.0, noise, 20_000)
    errors = np.rint(values + hiss) - values
    seen = math.sqrt(float(errors.var(axis=1).mean()))
    assert alike(seen, 1.0) == pytest.approx(float((errors.mean(axis=1) ** 2).mean()), rel=0.05, abs=2e-4)


@pytest.mark.parametrize("noise", [0.1, 0.2, 0.3, 1.0])
def test_noise_is_told_from_the_rounding_that_it_makes_random(noise: float) -> None:
    """Values anywhere between two codes, as above. Beside little noise less than 1/12 of a step squared is random."""
    values = np.linspace(-0.5, 0.5, 100, endpoint=False)[:, np.newaxis]
    hiss = np.random.default_rng(4).normal(0.0, noise, 20_000)
    seen = math.sqrt(float(np.rint(values + hiss).var(axis=1).mean()))
    assert noise_itself(seen, 1.0) == pytest.approx(noise, rel=0.05)


@pytest.mark.parametrize("ripple", [0.1, 0.3, 0.55, 1.5])
def test_a_ripple_of_any_phase_leaves_as_much_as_averaging_over_its_phases(ripple: float) -> None:
    """As above, with noise of a tenth of a step and a tone of a tenth more or less than told."""
    values = np.linspace(-0.5, 0.5, 100, endpoint=False)[:, np.newaxis]
    chance = np.random.default_rng(5)
    left, seen = [], []
    for part in (0.92, 0.96, 1.0, 1.04, 1.08):
        moved = part * ripple * np.sin(chance.uniform(0.0, 2.0 * np.pi, 20_000))
        errors = np.rint(values + moved + chance.normal(0.0, 0.1, 20_000)) - values - moved
        left.append(float((errors.mean(axis=1) ** 2).mean()))
        seen.append(0.01 + 1.0 / 12.0 - left[-1])
    assert alike(math.sqrt(np.mean(seen)), 1.0, ripple) == pytest.approx(np.mean(left), rel=0.25, abs=4e-4)


@pytest.mark.parametrize("noise", [0.0, 0.05, 0.2, 0.25, 0.4])
def test_what_is_left_of_a_mean_is_told_by_how_often_each_code_comes(noise: float) -> None:
    """300 values anywhere between two codes, each in 20,000 samples. What is stated is no less than the errors of the
    means, and no more than twice as much. By their rms alone, noise of a fifth of a step would pass for a third."""
    random = np.random.default_rng(8)
    values = random.uniform(0.0, 1.0, 300)
    codes = [np.rint(value + random.normal(0.0, noise, 20_000)) for value in values]
    own = noise / math.sqrt(20_000)
    errors = [each.mean() - value for value, each in zip(values, codes, strict=True)]
    scores = [error / math.hypot(left_of_mean(each), own) for error, each in zip(errors, codes, strict=True)]
    assert 0.5 < math.sqrt(float(np.mean(np.square(scores)))) < 1.15


def test_a_value_at_an_edge_between_two_codes_is_known_well() -> None:
    assert left_of_mean(np.array([3.0, 4.0] * 500)) == 0.0
    assert left_of_mean(np.full(1000, 3.0)) == pytest.approx(0.5 / math.sqrt(3.0))


def test_noise_that_may_be_a_value_at_an_edge_makes_nothing_random() -> None:
    """A value half way between two codes goes to and fro by half a step, with no noise at all."""
    assert alike_at_most(0.5, 2.0) == pytest.approx(4.0 / 12.0, rel=0.02)
    assert alike_at_most(2.0, 1.0) == pytest.approx(0.0, abs=1e-12)


def test_without_noise_all_of_it_is_alike() -> None:
    assert alike(0.0, 2.0) == pytest.approx(4.0 / 12.0, rel=0.02)


def test_much_noise_leaves_nothing_alike() -> None:
    assert alike(1.0, 1.0) == pytest.approx(0.0, abs=1e-12)


def test_without_steps_nothing_is_rounded() -> None:
    assert alike(0.0, 0.0) == 0.0
