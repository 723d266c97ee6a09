"""Sums over short vectors are the sums over all samples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.measure.signal.phasors import Phasors
from benchctl.measure.signal.products import by_few_rows, inner_product

COUNTS = st.integers(4, 3000)
TURNS = st.floats(0.001, 3.1)


def written_out(count: int, turn: float) -> tuple[np.ndarray, np.ndarray]:
    k = np.arange(count) - (count - 1) / 2
    return np.exp(1j * turn * k), k / max((count - 1) / 2, 0.5)


@given(COUNTS, TURNS, st.sampled_from([0, 1, 2]), st.sampled_from([1, 2]))
@settings(derandomize=True, max_examples=60)
def test_moments_are_those_written_out(count: int, turn: float, power: int, multiple: int) -> None:
    phasor, u = written_out(count, turn)
    assert Phasors(count, turn).moment(power, multiple) == pytest.approx(
        np.sum(u**power * phasor**multiple), abs=1e-9 * count
    )


@given(COUNTS, TURNS)
@settings(derandomize=True, max_examples=60)
def test_projections_are_those_written_out(count: int, turn: float) -> None:
    values = np.random.default_rng(count).normal(size=count)
    phasor, u = written_out(count, turn)
    plain, timed = Phasors(count, turn).project(values)
    assert plain == pytest.approx(np.sum(values * phasor), abs=1e-9 * count)
    assert timed == pytest.approx(np.sum(values * u * phasor), abs=1e-9 * count)


@given(COUNTS, TURNS)
@settings(derandomize=True, max_examples=30)
def test_a_sine_taken_away_from_itself_leaves_nothing(count: int, turn: float) -> None:
    phasor, _ = written_out(count, turn)
    sine = 3.0 * phasor.real - 2.0 * phasor.imag + 0.5
    assert np.abs(Phasors(count, turn).subtract(sine, 3.0, -2.0, 0.5)).max() < 1e-11


@pytest.mark.parametrize("shape", [(1, 1, 1), (7, 3, 2), (1000, 1000, 41), (5, 300_000, 2)])
def test_a_product_by_few_rows_is_the_product(shape: tuple[int, int, int]) -> None:
    rows, inner, columns = shape
    random = np.random.default_rng(3)
    left, right = random.normal(size=(rows, inner)), random.normal(size=(inner, columns))
    np.testing.assert_allclose(by_few_rows(left, right), left @ right, rtol=1e-9, atol=1e-9)


def test_an_inner_product_is_the_sum_of_products() -> None:
    assert inner_product(np.array([1.0, 2.0]), np.array([3.0, 4.0])) == 11.0
