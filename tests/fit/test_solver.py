"""The solver on problems whose answer is known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.fit.solver import Samples, solve

AT = np.linspace(0.1, 3.0, 40)
TRULY = np.array([0.8, -0.4])
NOISE = 1e-3


def shown(coordinates: Samples) -> Samples:
    """Two exponentials whose rates are close: a narrow curved valley."""
    rates = np.exp(coordinates)
    return np.asarray(np.exp(-rates[0] * AT) + np.exp(-rates[1] * AT))


def residuals(coordinates: Samples) -> Samples:
    return np.asarray((shown(coordinates) - shown(TRULY)) / NOISE)


def jacobian(coordinates: Samples) -> tuple[Samples, Samples]:
    rates = np.exp(coordinates)
    slopes = np.stack([-rate * AT * np.exp(-rate * AT) for rate in rates], axis=1)
    return residuals(coordinates), slopes / NOISE


def test_it_arrives_in_a_curved_valley_from_afar() -> None:
    found = solve(residuals, jacobian, np.array([2.0, -1.5]))
    assert found.has_converged
    assert found.coordinates == pytest.approx(TRULY, abs=0.02)


@pytest.mark.filterwarnings("error")
def test_a_step_beyond_what_the_model_can_compute_is_not_taken_and_warns_nobody() -> None:
    """So flat is an exponential far down that the first step leads to where it overflows."""

    def errors(at: Samples) -> Samples:
        return np.asarray((np.exp(400.0 * np.expm1(at)) - 1.0) / NOISE)

    def slopes(at: Samples) -> tuple[Samples, Samples]:
        return errors(at), np.diag(400.0 * np.exp(at) * np.exp(400.0 * np.expm1(at))) / NOISE

    assert solve(errors, slopes, np.array([-0.05])).coordinates == pytest.approx([0.0], abs=1e-4)


def test_a_straight_problem_is_solved_as_its_normal_equations_say() -> None:
    """Ridge regression: (A'A + 1) x = A'y, with covariance (A'A + 1)^-1 (Hoerl and Kennard, 1970)."""
    chance = np.random.default_rng(7)
    slopes, measured = chance.normal(size=(30, 4)), chance.normal(size=30)
    found = solve(lambda at: slopes @ at - measured, lambda at: (slopes @ at - measured, slopes), np.zeros(4))
    normal = slopes.T @ slopes + np.eye(4)
    assert found.coordinates == pytest.approx(np.linalg.solve(normal, slopes.T @ measured), abs=2e-2)
    assert found.covariance == pytest.approx(np.linalg.inv(normal))


def test_what_no_value_depends_on_keeps_its_plausible_width() -> None:
    slopes = np.zeros((5, 2))
    slopes[:, 0] = 10.0
    found = solve(lambda at: slopes @ at - 3.0, lambda at: (slopes @ at - 3.0, slopes), np.zeros(2))
    assert found.covariance[1, 1] == pytest.approx(1.0)


def test_where_one_coordinate_is_rough_the_others_arrive_and_it_is_named() -> None:
    """A cliff beside it, as where a corner of a clipped sine passes a sample, bars every step that moves it."""

    def beside_a_cliff(at: Samples) -> Samples:
        return np.array([10.0 * (at[0] + at[1] - 1.0), 3.0 * (at[2] - 0.2), 0.0 if abs(at[2]) < 1e-9 else 50.0])

    def slopes(at: Samples) -> tuple[Samples, Samples]:
        return beside_a_cliff(at), np.array([[10.0, 10.0, 0.0], [0.0, 0.0, 3.0], [0.0, 0.0, 0.0]])

    assert not solve(beside_a_cliff, slopes, np.zeros(3)).has_converged
    found = solve(beside_a_cliff, slopes, np.zeros(3), rough=(2,))
    assert found.has_converged
    assert found.held == (2,)
    assert found.coordinates == pytest.approx([100.0 / 201.0, 100.0 / 201.0, 0.0])


def test_a_start_from_which_the_model_gives_no_numbers_has_not_converged_and_warns_nobody() -> None:
    def beyond(at: Samples) -> Samples:
        return np.exp(at + 1e4) - np.exp(at + 1e4)

    found = solve(beyond, lambda at: (beyond(at), np.diag(beyond(at))), np.zeros(2))
    assert not found.has_converged


@pytest.mark.parametrize(("steepness", "weight", "begin"), [(100.0, 1.0, -1.0), (1e4, 3.0, 1.2)])
def test_it_follows_a_valley_that_is_far_narrower_than_it_is_bent(
    steepness: float, weight: float, begin: float
) -> None:
    """A parabola y = x² as the bottom: from afar, and where all but steps of a few thousandths lead up its sides. The
    least of x² + x⁴ + w² (x - 2)² along it is where 4 x³ + 2 (1 + w²) x = 4 w²."""

    def beside(at: Samples) -> Samples:
        return np.array([steepness * (at[1] - at[0] ** 2), weight * (at[0] - 2.0)])

    def slopes(at: Samples) -> tuple[Samples, Samples]:
        return beside(at), np.array([[-2.0 * steepness * at[0], steepness], [weight, 0.0]])

    found = solve(beside, slopes, np.array([begin, begin**2]))
    roots = np.roots([4.0, 0.0, 2.0 * (1.0 + weight**2), -4.0 * weight**2])
    (least,) = (root.real for root in roots if abs(root.imag) < 1e-9)
    assert found.has_converged
    assert found.coordinates == pytest.approx([least, least**2], abs=0.05)
