"""How far sums of errors reach: worked examples of the guides, and other computations of the same distributions."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from benchctl.measure.budget.figure import figure_of
from benchctl.measure.distribution import reach
from benchctl.measure.freedom import combined
from benchctl.measure.uncertainty import Accuracy, ErrorOf, exactly, mean_of, measured, rectangular
from tests.measure import convolved
from tests.measure.convolved import COVERED


def test_the_dominating_limit_of_ea_4_02_s9_has_a_factor_of_1_65() -> None:
    """EA-4/02 M:2022, supplement S9, from memory: a hand-held multimeter, whose steps dominate, has k = 1.65."""
    factor = reach([1.0], 0.0, 0.95) * math.sqrt(3.0)
    assert factor == pytest.approx(0.95 * math.sqrt(3.0))
    assert f"{reach([1.0], 0.0, COVERED) * math.sqrt(3.0):.2f}" == "1.65"


def test_the_trapezoid_of_ea_4_02_s10_has_a_factor_of_1_83() -> None:
    """EA-4/02 M:2022, supplement S10, from memory: a vernier caliper with an edge parameter of 0.33; in closed form
    k = (1 - sqrt((1 - p) (1 - b^2))) / sqrt((1 + b^2) / 6)."""
    edge = 0.33
    halves = [(1.0 + edge) / 2.0, (1.0 - edge) / 2.0]
    factor = reach(halves, 0.0, 0.95) / math.sqrt(sum(half**2 for half in halves) / 3.0)
    assert factor == pytest.approx((1 - math.sqrt(0.05 * (1 - edge**2))) / math.sqrt((1 + edge**2) / 6), rel=1e-9)
    assert factor == pytest.approx(1.83, abs=0.006)


@pytest.mark.parametrize(("us", "interval"), [((1.0, 1.0, 1.0, 1.0), 3.88), ((1.0, 1.0, 1.0, 10.0), 17.0)])
def test_the_additive_models_of_jcgm_101_have_their_intervals(us: tuple[float, ...], interval: float) -> None:
    """JCGM 101:2008, 9.2.3 and 9.2.4, from memory: four rectangular inputs; k = 1.96 would give 3.92 and 19.9."""
    found = reach([math.sqrt(3.0) * u for u in us], 0.0, 0.95)
    assert found == pytest.approx(interval, rel=4e-3)


def test_a_normal_error_has_a_factor_of_2() -> None:
    assert reach([], 3.0, COVERED) == pytest.approx(6.0, rel=1e-9)
    assert combined(measured(0.0, 3.0)).factor == 2.0


@pytest.mark.parametrize("normal", [0.0, 0.01, 0.1, 0.3, 1.0, 3.0])
@pytest.mark.parametrize("second", [0.0, 0.03, 0.4, 1.0])
def test_one_or_two_limits_beside_a_normal_error_agree_with_a_numerical_convolution(
    second: float, normal: float
) -> None:
    halves = [1.0, second] if second else [1.0]
    assert reach(halves, normal, COVERED) == pytest.approx(convolved.reach(*halves, normal=normal), rel=1e-3)


def test_of_many_limits_u_never_holds_less_than_95_percent() -> None:
    """Forty sums of three to six rectangular errors of all sizes and a normal one; the two largest count exactly."""
    random = np.random.default_rng(3)
    for _ in range(40):
        halves = random.exponential(size=random.integers(3, 7)) ** 2
        normal = float(random.choice([0.0, 0.2]))
        found = reach(halves.tolist(), normal, COVERED)
        assert found > convolved.reach(*halves.tolist(), normal=normal, share=0.95)
        assert found == pytest.approx(convolved.reach(*halves.tolist(), normal=normal), rel=0.02)


def test_no_error_more_makes_u_less() -> None:
    sizes = np.geomspace(1e-3, 3.0, 40)
    for of_next in (lambda size: reach([1.0], size, COVERED), lambda size: reach([1.0, 0.6, size], 0.1, COVERED)):
        reaches = [of_next(float(size)) for size in sizes]
        assert all(later >= earlier * (1.0 - 1e-7) for earlier, later in pairwise(reaches))


def test_what_inputs_have_in_common_is_one_limit_for_their_sum_and_each_its_own_for_their_difference() -> None:
    """Two inputs of 0.5 % of one oscilloscope: a rectangle of 1 % of half the sum, or a triangle of the difference."""
    one, other = (ErrorOf((Accuracy(reading=0.005, scale="oscilloscope"),)).on(100.0) for _ in range(2))
    assert figure_of("output_rms", one + other, "V").expanded_uncertainty == pytest.approx(COVERED * 1.0)
    triangle = 1.0 * (1.0 - math.sqrt(1.0 - COVERED))
    assert figure_of("output_rms", one - other, "V").expanded_uncertainty == pytest.approx(triangle)


@pytest.mark.parametrize("limit", [0.3, 1.0, 3.0])
def test_a_limit_beside_the_mean_of_three_readings_holds_the_truth_as_often_as_it_says(limit: float) -> None:
    """1,000 draws: 95.45 % with a standard deviation of 0.66 %. Effective degrees of freedom are an approximation: with
    three readings they hold up to three in a hundred less or more."""
    random = np.random.default_rng(23)
    held = 0
    for error, readings in zip(random.uniform(-limit, limit, 1000), random.normal(size=(1000, 3)), strict=True):
        value = mean_of((readings + error).tolist()) + rectangular(0.0, limit)
        figure = figure_of("idle_current", value + exactly(0.0), "A")
        held += abs(figure.value) <= (figure.expanded_uncertainty or 0.0)
    assert 0.92 < held / 1000 < 0.985


def test_errors_as_small_as_a_float_can_hold_reach_as_far_in_proportion_and_none_reaches_nowhere() -> None:
    assert reach([1e-200, 5e-201], 2e-201, COVERED) == pytest.approx(1e-200 * reach([1.0, 0.5], 0.2, COVERED), rel=1e-9)
    assert reach([], 0.0, COVERED) == 0.0
