"""Coverage factors by effective degrees of freedom, and what errors may have in common."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from benchctl.measure.budget.figure import figure_of
from benchctl.measure.budget.power import load_power
from benchctl.measure.freedom import COVERED, combined, coverage_factor, expanded
from benchctl.measure.uncertainty import (
    Accuracy,
    ErrorOf,
    LoadResistance,
    Scatter,
    exactly,
    mean_of,
    means_together,
    measured,
    scattered,
)

# What Workshop bench 2 states: oscilloscope and probe 0.5 %, resistors 0.2 % (k = 2).
SCOPE, PROBE = Accuracy(reading=0.005, scale="oscilloscope"), Accuracy(reading=0.005)
RESISTOR = LoadResistance(4.0, 4.0, 0.002, temperature_c=20.0)


def power_of_one() -> object:
    return load_power(ErrorOf((SCOPE, PROBE)).on(20.0), RESISTOR.resistance())


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 8, 9, 50, 999])
def test_the_factor_is_that_of_students_distribution(freedom: int) -> None:
    """Against scipy's quantiles."""
    assert coverage_factor(freedom) == pytest.approx(stats.t.ppf(0.5 + COVERED / 2.0, freedom), rel=1e-9)


def test_degrees_of_freedom_are_cut_to_the_next_lower_whole_number() -> None:
    """JCGM 100, G.4.1: 16.7 are taken as 16."""
    assert coverage_factor(16.7) == coverage_factor(16)


def test_many_degrees_of_freedom_leave_a_factor_of_2() -> None:
    assert coverage_factor(math.inf) == 2.0
    assert coverage_factor(1000.0) == pytest.approx(2.0, abs=0.003)


def test_of_a_mean_of_two_u_is_seven_times_as_wide() -> None:
    """Student, one degree of freedom, 95.45 %: 13.968."""
    figure = figure_of("idle_current", mean_of([1.0, 1.2]), "A")
    assert figure.coverage_factor == pytest.approx(13.968, abs=5e-4)
    assert figure.expanded_uncertainty == pytest.approx(13.968 * 0.1, rel=1e-4)


def test_what_an_instrument_leaves_open_makes_a_scatter_of_few_readings_matter_less() -> None:
    """Welch and Satterthwaite: u 3 (4 degrees of freedom) and 4 (known) make 5, with 625 / (81 / 4) = 30.9."""
    value = exactly(1.0) + scattered(3.0, Scatter(4)) + measured(0.0, 4.0)
    assert combined(value).freedom == pytest.approx(30.86, abs=0.01)
    assert expanded(value) == (pytest.approx(5.0 * coverage_factor(30)), coverage_factor(30))


def test_a_product_of_two_means_of_the_same_readings_has_no_more_freedom_than_either() -> None:
    voltage, current = means_together([14.0, 14.3, 14.4], [10.2, 10.3, 10.0])
    assert combined(voltage * current).freedom == pytest.approx(2.0)


def test_a_total_of_two_channels_counts_what_one_oscilloscope_and_one_bank_may_have_in_common() -> None:
    """By hand: scope 2 x 0.2887 % in common, probe 2 x 0.2887 % apart, resistor 0.1 % half and half."""
    one = combined(power_of_one())
    total = combined(power_of_one() + power_of_one())
    scope, probe, resistor = 2 * 0.5 / math.sqrt(3), 2 * 0.5 / math.sqrt(3), 0.1
    assert 2.0 * one.standard == pytest.approx(100.0 * 2.0 * math.hypot(scope, probe, resistor) / 100.0)
    expected = math.sqrt(scope**2 + probe**2 / 2.0 + resistor**2 * (0.5 + 0.5 / 2.0))
    assert total.standard / 200.0 == pytest.approx(expected / 100.0)
    assert 200.0 * total.standard / 200.0 == pytest.approx(1.42, abs=0.005)


def test_a_ratio_of_two_channels_counts_their_errors_as_apart() -> None:
    first, second = ErrorOf((SCOPE,)).on(20.0), ErrorOf((SCOPE,)).on(20.0)
    assert combined(first / second).standard == pytest.approx(0.005 * math.sqrt(2.0 / 3.0))


def test_one_chain_still_cancels_in_a_ratio_of_its_own_values() -> None:
    chain = ErrorOf((SCOPE, PROBE))
    assert combined(chain.on(20.0) / chain.on(10.0)).standard == pytest.approx(0.0, abs=1e-12)
