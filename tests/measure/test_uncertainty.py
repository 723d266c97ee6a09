"""Each error is one variable: what it does to two values at once stays tied together."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.errors import MeasurementError
from benchctl.measure.budget.contributions import contributions
from benchctl.measure.uncertainty import (
    Accuracy,
    ErrorOf,
    LoadResistance,
    exactly,
    mean_of,
    means_together,
    rectangular,
)


def test_a_limit_of_error_adds_reading_range_and_fixed_part() -> None:
    assert Accuracy(reading=0.01, range=0.001, fixed=0.2).limit(-50.0, full_scale=100.0) == pytest.approx(
        0.5 + 0.1 + 0.2
    )


def test_limits_of_error_are_rectangular() -> None:
    assert rectangular(5.0, 0.3).std_dev == pytest.approx(0.3 / math.sqrt(3))


def test_the_parts_of_a_chain_have_errors_of_their_own() -> None:
    chain = ErrorOf((Accuracy(reading=0.03), Accuracy(reading=0.04)))
    assert chain.on(1.0).std_dev == pytest.approx(0.05 / math.sqrt(3))


def test_two_values_of_one_chain_share_its_gain_error() -> None:
    chain = ErrorOf((Accuracy(reading=0.01),))
    assert (chain.on(30.0) / chain.on(20.0)).std_dev == pytest.approx(0.0, abs=1e-15)


def test_two_values_of_unlike_chains_do_not() -> None:
    first, second = ErrorOf((Accuracy(reading=0.01),)), ErrorOf((Accuracy(reading=0.01),))
    assert (first.on(1.0) / second.on(1.0)).std_dev == pytest.approx(0.01 * math.sqrt(2 / 3))


def test_the_chain_adds_to_the_uncertainty_a_value_has_of_its_own() -> None:
    value = ErrorOf((Accuracy(fixed=0.3),)).on(mean_of([1.0, 3.0]))
    assert value.std_dev == pytest.approx(math.hypot(0.3 / math.sqrt(3), 1.0))


def test_a_chain_nothing_is_known_of_adds_nothing() -> None:
    assert ErrorOf(()).on(4.0).std_dev == 0.0


def test_errors_of_gain_and_of_zero_have_two_causes() -> None:
    chain = ErrorOf((Accuracy(reading=0.03, range=0.002, fixed=0.2),), full_scale=100.0)
    assert chain.on(10.0).std_dev == pytest.approx(math.hypot(0.3, 0.4) / math.sqrt(3))


def test_an_error_of_zero_moves_no_difference() -> None:
    chain = ErrorOf((Accuracy(reading=0.01, fixed=0.5),))
    assert (chain.on(30.0) - chain.on(10.0)).std_dev == pytest.approx(0.2 / math.sqrt(3))
    assert chain.on_difference(20.0).std_dev == pytest.approx(0.2 / math.sqrt(3))


@pytest.mark.parametrize("mean", [0.0, 3.0, -3.0])
def test_an_error_of_zero_moves_an_rms_by_as_much_as_there_is_dc(mean: float) -> None:
    alternating = 4.0 * np.sin(2 * np.pi * (np.arange(1000) + 0.5) / 1000)
    rms, moved = (float(np.sqrt(np.mean((alternating + mean + zero) ** 2))) for zero in (0.0, 1e-6))
    uncertain = ErrorOf((Accuracy(fixed=math.sqrt(3)),)).on_rms(rms, mean)
    assert uncertain.std_dev == pytest.approx(abs(moved - rms) / 1e-6, abs=1e-6)


def test_a_signal_of_nothing_has_no_rms_to_be_wrong() -> None:
    with pytest.raises(MeasurementError):
        ErrorOf((Accuracy(fixed=0.1),)).on_rms(0.0, 0.0)


def test_a_load_grows_with_its_temperature() -> None:
    # 100 ppm/K over 150 K raise R by 1.5 %, so that power from the cold R reads 1.5 % high.
    hot = LoadResistance(4.0, 4.0, temperature_coefficient_per_k=100e-6, temperature_c=170.0).resistance()
    assert hot.nominal_value == pytest.approx(4.06)
    assert 1.0 / (hot.nominal_value / 4.0) == pytest.approx(0.985222, abs=1e-6)


def test_a_loads_certificate_states_an_expanded_uncertainty() -> None:
    assert LoadResistance(4.0, 4.0, 0.002).resistance().std_dev == pytest.approx(0.004)


def test_a_load_of_unknown_temperature_may_have_risen_by_anything_up_to_150_k() -> None:
    load = LoadResistance(4.0, 4.0, temperature_coefficient_per_k=60e-6)
    resistance = load.resistance()
    assert resistance.nominal_value == pytest.approx(4.0 * (1 + 60e-6 * 75))
    assert resistance.std_dev == pytest.approx(4.0 * 60e-6 * 75 / math.sqrt(3))


def test_a_measured_temperature_coefficient_is_as_uncertain_as_its_certificate_says() -> None:
    """60 ppm/K, give or take 6 ppm/K (k = 2), over 75 K: 225 ppm of 4 ohm, named in the budget."""
    load = LoadResistance(
        4.0,
        4.0,
        temperature_coefficient_per_k=60e-6,
        temperature_c=95.0,
        temperature_coefficient_uncertainty_per_k=6e-6,
    ).resistance("load A")
    assert load.std_dev == pytest.approx(4.0 * 3e-6 * 75.0)
    assert [each.cause for each in contributions(load)] == ["load A: temperature coefficient"]


@pytest.mark.parametrize("ohm", [0.0, -4.0, math.nan])
def test_a_load_that_is_no_resistance_is_refused(ohm: float) -> None:
    with pytest.raises(MeasurementError):
        LoadResistance(4.0, ohm).resistance()


def test_repeats_give_s_over_root_n() -> None:
    assert mean_of([1.0, 2.0, 3.0, 4.0]).std_dev == pytest.approx(math.sqrt(5 / 3) / 2)


def test_one_reading_alone_has_no_scatter() -> None:
    assert mean_of([3.0]).std_dev == 0.0


@pytest.mark.parametrize("readings", [[], [1.0, math.nan], [math.inf]])
def test_readings_that_are_none_are_refused(readings: list[float]) -> None:
    with pytest.raises(MeasurementError):
        mean_of(readings)


def test_quantities_read_together_keep_the_correlation_of_their_scatter() -> None:
    voltage, current = means_together([14.0, 14.2, 14.4], [10.2, 10.1, 10.0])
    assert (voltage / 2.0 + current).std_dev == pytest.approx(0.0, abs=1e-8)


def test_quantities_read_at_unlike_times_are_independent() -> None:
    voltage, current = means_together([14.0, 14.2, 14.4], [10.2, 10.0])
    assert (voltage + current).std_dev == pytest.approx(math.hypot(voltage.std_dev, current.std_dev))


@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=20))
@settings(derandomize=True, max_examples=100)
def test_means_read_together_are_the_means_read_alone(readings: list[float]) -> None:
    together = means_together(readings, readings)
    alone = mean_of(readings)
    assert together[0].nominal_value == pytest.approx(alone.nominal_value)
    assert together[1].std_dev == pytest.approx(alone.std_dev, abs=1e-9)


def test_an_exact_value_has_no_uncertainty() -> None:
    assert (exactly(2.0) * 3.0).std_dev == 0.0
