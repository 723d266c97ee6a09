"""The true errors, which no instrument on the bench knows."""

from __future__ import annotations

import statistics

import pytest

from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.simulator.model.description import Spec
from benchctl.simulator.model.true_errors import TrueError, TrueErrors

SPEC = Spec(reading=0.005, range=0.001, fixed=0.01)


def test_every_draw_lies_inside_the_stated_accuracy() -> None:
    for seed in range(300):
        error = TrueErrors(BenchSimulation(seed=seed)).error("supply", SPEC, full_range=20.0)
        assert abs(error.gain) <= 0.005
        assert abs(error.offset) <= 0.03


def test_draws_spread_over_all_of_it_as_a_rectangular_distribution_does() -> None:
    """Standard deviation a/sqrt(3) (GUM 4.3.7), over 2000 seeds."""
    gains = [TrueErrors(BenchSimulation(seed=seed)).error("supply", SPEC).gain for seed in range(2000)]
    assert statistics.pstdev(gains) == pytest.approx(0.005 / 3**0.5, rel=0.03)


def test_a_resistor_lies_inside_its_expanded_uncertainty() -> None:
    errors = [TrueErrors(BenchSimulation(seed=seed)).normal("resistor 101", 0.002) for seed in range(300)]
    assert max(abs(error) for error in errors) <= 0.002
    assert len(set(errors)) == 300


def test_the_same_seed_and_name_give_the_same_error_in_any_order() -> None:
    one, other = TrueErrors(BenchSimulation(seed=7)), TrueErrors(BenchSimulation(seed=7))
    other.error("something else", SPEC)
    assert one.error("supply", SPEC) == other.error("supply", SPEC)


def test_errors_can_be_given_or_switched_off() -> None:
    given = TrueErrors(BenchSimulation(seed=7, errors={"probe A": 0.003}))
    assert given.error("probe A", SPEC) == TrueError(gain=0.003)
    assert TrueErrors(BenchSimulation(instrument_errors="none")).error("probe A", SPEC) == TrueError()


def test_each_range_of_an_input_has_a_zero_of_its_own_inside_its_limit() -> None:
    """Each range sets the input's amplifier otherwise."""
    true_errors = TrueErrors(BenchSimulation(seed=7))
    parts = [true_errors.part("oscilloscope 1", f"{full_scale_v:g} V") for full_scale_v in range(1, 301)]
    assert len(set(parts)) == 300
    assert max(abs(part) for part in parts) <= 1.0
    assert statistics.pstdev(parts) == pytest.approx(1 / 3**0.5, rel=0.1)
    assert true_errors.part("oscilloscope 1", "1 V") == parts[0]


def test_an_input_whose_error_is_given_and_an_exact_instrument_have_no_error_of_zero() -> None:
    given = BenchSimulation(seed=7, errors={"oscilloscope 1": 0.01})
    assert TrueErrors(given).part("oscilloscope 1", "1 V") == 0.0
    assert TrueErrors(BenchSimulation(seed=7, instrument_errors="none")).part("oscilloscope 1", "1 V") == 0.0
