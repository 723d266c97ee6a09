"""What unlike steps of a converter leave in values, and how values that share it are taken apart."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from benchctl.fit.noise import ALIKE, Noise
from benchctl.fit.reading.items import VOLTAGE, Item, Scale
from benchctl.fit.reading.unlike import SEEN_QUIET, UNLIKE, shared_of_steps
from benchctl.fit.showing import Rows

STEP, MOVES = 0.2, 0.002
LEVELS = np.array([7.0, 7.2, 7.9, 9.0])
SPREADS = np.array([0.4, 0.5, 0.4, 2.0])


def rows_of(levels: np.ndarray, take: int = 0, start: int = 0) -> Rows:
    """Means whose noise is what unlike steps leave in them, and a tenth of that besides."""
    alone = STEP * 1.1 * np.sqrt(np.diag(shared_of_steps(levels, SPREADS)))
    scale = Scale(VOLTAGE, 0.01, "50 V", 0.0, 0.1, record_gain_u=MOVES, step=STEP)
    return Rows(take, Item(VOLTAGE, levels * STEP, alone, scale, SPREADS), start, 14.4)


def test_means_share_what_converters_with_unlike_steps_leave_in_them() -> None:
    """4000 converters whose transitions are off by `UNLIKE` of a step; the mean code of samples that spread normally
    around a level is a sum of normal integrals over them (scipy). The integral over steps holds within some percent
    where samples spread over half a step."""
    ideal = np.arange(-20, 40) + 0.5
    chance = np.random.default_rng(1)
    off = UNLIKE * chance.standard_normal((4000, len(ideal)))

    def codes(level: float, spread: float) -> np.ndarray:
        return np.asarray((norm.cdf((level - ideal - off) / spread) - norm.cdf((level - ideal) / spread)).sum(axis=1))

    levels, spreads = np.array([7.0, 7.2, 8.0, 11.0]), np.array([0.5, 0.5, 0.6, 2.0])
    found = np.cov([codes(*each) for each in zip(levels, spreads, strict=True)])
    assert found == pytest.approx(shared_of_steps(levels, spreads), abs=0.1 * UNLIKE**2)


def test_values_taken_apart_share_nothing_and_have_a_deviation_of_one() -> None:
    """W C W' = 1 with the covariance C of two records of one range: steps are shared by both, and a gain that moves
    from record to record by the means of each."""
    both = [rows_of(LEVELS), rows_of(LEVELS + 0.1, take=1, start=4)]
    noise, unscaled = Noise(both), np.ones(8)
    apart = noise.over(np.eye(8), unscaled)
    covariance = ALIKE * STEP**2 * shared_of_steps(np.append(LEVELS, LEVELS + 0.1), np.append(SPREADS, SPREADS))
    np.fill_diagonal(covariance, np.concatenate([each.item.noise for each in both]) ** 2)
    for each in both:
        covariance[each.start : each.stop, each.start : each.stop] += MOVES**2 * np.outer(
            each.item.values, each.item.values
        )
    assert apart @ covariance @ apart.T == pytest.approx(np.eye(8), abs=1e-9)
    errors = np.arange(8.0)
    assert noise.over(errors, unscaled) == pytest.approx(apart @ errors)


def test_a_value_that_is_left_out_says_nothing_of_the_others() -> None:
    """Its noise is taken 10,000 times as large; the other three are weighed as if it were not there."""
    scaled = np.array([1.0, 1e4, 1.0, 1.0])
    rest = [0, 2, 3]
    with_it = Noise([rows_of(LEVELS)]).over(np.eye(4), scaled)[np.ix_(rest, rest)]
    covariance = ALIKE * STEP**2 * shared_of_steps(LEVELS, SPREADS)
    np.fill_diagonal(covariance, rows_of(LEVELS).item.noise ** 2)
    covariance += MOVES**2 * np.outer(rows_of(LEVELS).item.values, rows_of(LEVELS).item.values)
    assert with_it.T @ with_it == pytest.approx(np.linalg.inv(covariance[np.ix_(rest, rest)]), rel=1e-3)


@pytest.mark.parametrize("spread", [0.3, 0.5])
def test_what_values_share_beside_their_weights_counts_as_the_whole_covariance_has_it(spread: float) -> None:
    """Weighed by the covariance C of each record alone, errors with covariance S give J'C⁻¹SC⁻¹J; what is added is that
    less J'C⁻¹J (least squares with weights that leave something out). S holds unlike steps, and a sine of the level of
    unknown phase, whose values at levels x and y have the covariance a²/2 cos(2 pi (x - y))."""
    chance = np.random.default_rng(3)
    levels = [chance.uniform(-20.0, 20.0, 80) for _ in range(2)]
    scale, alone = Scale("output A", 0.01, "50 V", 0.0, 0.1, step=STEP), np.full(80, 0.5 * STEP)
    items = [Item("output A", each * STEP, alone, scale, np.full(80, spread)) for each in levels]
    noise = Noise([Rows(0, items[0], 0, 14.4), Rows(1, items[1], 80, 14.4)])
    slopes = chance.standard_normal((160, 3))
    both = np.concatenate(levels)
    whole = ALIKE * STEP**2 * shared_of_steps(both, np.full(160, spread))
    np.fill_diagonal(whole, (0.5 * STEP) ** 2)
    apart = whole.copy()
    apart[:80, 80:] = apart[80:, :80] = 0.0
    amplitude = STEP * np.exp(-2.0 * np.pi**2 * (spread**2 - 1.0 / 12.0)) / np.pi
    sine = SEEN_QUIET * amplitude**2 / 2.0 * np.cos(2.0 * np.pi * (both[:, None] - both[None, :]))
    weighed = np.linalg.solve(apart, slopes)
    added = noise.beside_weights(noise.over(slopes, np.ones(160)), np.ones(160))
    assert added == pytest.approx(weighed.T @ (whole - apart + sine) @ weighed)


def test_noise_that_lifts_a_sample_to_another_step_does_not_count_in_its_weight() -> None:
    """Samples at one level are worth the same each, so the best estimate of it is their mean."""
    read = np.repeat([70.0, 71.0], [25, 5]) * STEP
    scale = Scale("output A", 0.01, "50 V", 0.0, 0.1, step=STEP)
    rows = Rows(0, Item("output A", read, np.full(30, 0.5 * STEP), scale, np.full(30, 0.4)), 0, 14.4)
    noise = Noise([rows], levels=np.full(30, 70.2 * STEP))
    slopes, values = noise.over(np.ones(30), np.ones(30)), noise.over(read, np.ones(30))
    assert slopes @ values / (slopes @ slopes) == pytest.approx(read.mean())
