"""Uncertainty against the GUM: worked examples, and a Monte Carlo of the same inputs after JCGM 101."""

from __future__ import annotations

import math

import numpy as np
import pytest
from uncertainties import UFloat, umath

from benchctl.measure.budget.figure import figure_of
from benchctl.measure.budget.power import load_power
from benchctl.measure.freedom import combined, coverage_factor
from benchctl.measure.uncertainty import (
    Accuracy,
    ErrorOf,
    LoadResistance,
    Scatter,
    exactly,
    mean_of,
    means_together,
    rectangular,
    scattered,
)

# A worked budget, by hand and with a separate program: ten readings of a voltmeter within 0.1 % of reading (its gain)
# and 0.02 % of its 100 V range (its zero), a load of 4 ohm within 0.5 % (rectangular), 14.40 V within 0.05 % + 1.5 mV,
# 9.60 A within 0.5 % + 20 mA. Each part is rectangular and has its own cause.
READINGS_V = [20.002, 19.998, 20.001, 19.997, 20.003, 20.000, 19.999, 20.002, 19.998, 20.000]
LOAD = rectangular(4.0, 0.005 * 4.0)


def test_the_voltage_of_the_budget() -> None:
    scatter = mean_of(READINGS_V)
    assert scatter.std_dev == pytest.approx(0.0006324555, rel=1e-6)
    voltage = ErrorOf((Accuracy(reading=0.001, range=0.0002),), 100.0).on(scatter)
    assert voltage.nominal_value == pytest.approx(20.0)
    assert voltage.std_dev == pytest.approx(0.01634217, rel=1e-6)


def test_the_power_of_the_budget() -> None:
    voltage = ErrorOf((Accuracy(reading=0.001, range=0.0002),), 100.0).on(mean_of(READINGS_V))
    figure = figure_of("continuous_power", load_power(voltage, LOAD), "W")
    assert figure.value == pytest.approx(100.0)
    # The standard uncertainty is 0.3317228 W; a Monte Carlo of the same inputs has 95.45 % within 0.6165 W.
    u = (figure.expanded_uncertainty or 0.0) / (figure.coverage_factor or 0.0)
    assert u == pytest.approx(0.3317228, rel=1e-5)
    assert 0.6165 < (figure.expanded_uncertainty or 0.0) < 1.01 * 0.6165


def test_the_efficiency_of_the_budget_keeps_its_correlations() -> None:
    voltage = ErrorOf((Accuracy(reading=0.001, range=0.0002),), 100.0).on(mean_of(READINGS_V))
    supply_v = ErrorOf((Accuracy(reading=0.0005, fixed=0.0015),)).on(14.40)
    supply_a = ErrorOf((Accuracy(reading=0.005, fixed=0.02),)).on(9.60)
    power = load_power(voltage, LOAD)
    efficiency = power / (supply_v * supply_a)
    assert efficiency.nominal_value == pytest.approx(0.7233796, rel=1e-6)
    assert efficiency.std_dev == pytest.approx(0.003304748, rel=1e-5)
    loss = supply_v * supply_a - power
    assert (loss.nominal_value, loss.std_dev) == (pytest.approx(38.24), pytest.approx(0.5464450, rel=1e-5))


def test_monte_carlo_of_the_budget_agrees() -> None:
    # JCGM 101: draw every input from its own distribution and look at the output.
    random = np.random.default_rng(101)
    draws = 400_000
    gain, zero = random.uniform(-0.02, 0.02, (2, draws))
    voltage = 20.0 + gain + zero + 0.0006324555 * random.standard_t(9, draws)
    power = voltage**2 / random.uniform(3.98, 4.02, draws)
    assert power.std() == pytest.approx(0.3317228, rel=5e-3)
    low, high = np.quantile(power, [0.025, 0.975])
    assert (low, high) == (pytest.approx(99.391, abs=0.01), pytest.approx(100.614, abs=0.01))
    # Rectangular inputs have no tails: 95.45 % lie within less than two standard deviations.
    assert np.quantile(np.abs(power - power.mean()), 0.9545) == pytest.approx(0.6165, abs=0.004)


def test_monte_carlo_of_a_whole_analysis_agrees() -> None:
    """Both channels' powers over one supply: oscilloscope, probe, load and temperature drawn as the budget has them."""
    scope, probe = Accuracy(reading=0.005, range=0.001), Accuracy(reading=0.005)
    load = LoadResistance(4.0, 4.013, 0.002, 60e-6)
    budget = load_power(ErrorOf((scope, probe), 100.0).on(20.0), load.resistance())
    random = np.random.default_rng(7)
    draws = 200_000
    volts = 20.0 + sum(random.uniform(-1, 1, draws) * limit for limit in (0.1, 0.1, 0.1))  # gain, zero, probe
    ohms = 4.013 * (1 + 0.001 * random.normal(size=draws)) * (1 + 60e-6 * random.uniform(0, 150, draws))
    power = volts**2 / ohms
    assert budget.nominal_value == pytest.approx(power.mean(), rel=1e-3)
    assert budget.std_dev == pytest.approx(power.std(), rel=1e-2)


def test_gum_example_h2_with_its_correlated_readings() -> None:
    # JCGM 100:2008, H.2: five readings of V (V), I (mA) and phase (rad) taken together; the GUM prints u = 0.071,
    # 0.295 and 0.236 ohm; more digits from the five raw readings by a separate program.
    voltage, milliamperes, phase = means_together(
        [5.007, 4.994, 5.005, 4.990, 4.999],
        [19.663, 19.639, 19.640, 19.685, 19.678],
        [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
    )
    assert voltage.std_dev == pytest.approx(0.003209361, rel=1e-6)
    assert phase.std_dev == pytest.approx(7.520638e-4, rel=1e-6)
    impedance = voltage / (milliamperes / 1000.0)
    resistance, reactance = impedance * umath.cos(phase), impedance * umath.sin(phase)
    assert (resistance.nominal_value, resistance.std_dev) == (
        pytest.approx(127.732170),
        pytest.approx(0.0710714, rel=1e-5),
    )
    assert (reactance.nominal_value, reactance.std_dev) == (
        pytest.approx(219.846512),
        pytest.approx(0.2955817, rel=1e-5),
    )
    assert (impedance.nominal_value, impedance.std_dev) == (
        pytest.approx(254.259702),
        pytest.approx(0.2363361, rel=1e-5),
    )


@pytest.mark.parametrize(("uncertain", "u"), [
    (rectangular(0.0, 1.0), 0.577350),  # JCGM 100, 4.3.7
    (rectangular(0.0, 0.5), 0.288675),  # a step of 1: F.2.2.1
])  # fmt: skip
def test_limits_and_resolution(uncertain: object, u: float) -> None:
    assert uncertain.std_dev == pytest.approx(u, abs=1e-6)  # type: ignore[attr-defined]


def test_a_wirewound_load_at_170_degrees_makes_the_cold_figure_one_and_a_half_per_cent_high() -> None:
    # 100 ppm/K (data sheets of aluminium-housed resistors) over 150 K: the true power is 0.985222 of the cold figure.
    hot = LoadResistance(4.0, 4.0, 0.0, 100e-6, 170.0).resistance()
    cold = LoadResistance(4.0, 4.0, 0.0, 100e-6, 20.0).resistance()
    ratio = load_power(rectangular(20.0, 0.0), hot) / load_power(rectangular(20.0, 0.0), cold)
    assert ratio.nominal_value == pytest.approx(0.985222, abs=1e-6)


def test_copper_at_75_degrees() -> None:
    # IEC 60028: alpha = 0.00393 / K at 20 degC, so a factor of 1.216150 at 75 degC.
    copper = LoadResistance(1.0, 1.0, 0.0, 0.00393, 75.0).resistance()
    assert copper.nominal_value == pytest.approx(1.216150, abs=1e-6)
    assert math.isclose(copper.std_dev, 0.0)


def inputs(*parts: tuple[float, float]) -> UFloat:
    """Independent inputs, each with its standard uncertainty and degrees of freedom."""
    return sum((scattered(u, Scatter(freedom)) for u, freedom in parts), exactly(1.0))


def test_effective_degrees_of_freedom_of_the_gums_three_factors() -> None:
    """JCGM 100, G.4.1: relative u 0.25, 0.57 and 0.82 % with 9, 4 and 14 give 1.03 % with 19.0."""
    found = combined(inputs((0.25, 9), (0.57, 4), (0.82, 14)))
    assert found.standard == pytest.approx(1.03, abs=0.005)
    assert found.freedom == pytest.approx(19.0, abs=0.05)


def test_effective_degrees_of_freedom_of_the_gums_gauge_block() -> None:
    """JCGM 100, H.1.6: 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2 give 16.7, taken as 16; by hand 16.765."""
    found = combined(inputs((25.0, 18), (9.7, 25.6), (2.9, 50), (16.6, 2)))
    assert found.freedom == pytest.approx(16.765, abs=0.001)
    assert coverage_factor(found.freedom) == coverage_factor(16)


@pytest.mark.parametrize(
    ("readings", "factor"), [(2, 13.968), (3, 4.527), (4, 3.307), (5, 2.869), (6, 2.649), (10, 2.320)]
)
def test_factors_for_95_45_percent_are_those_of_the_tables(readings: int, factor: float) -> None:
    """JCGM 100, table G.2, column 95.45 %: printed as 13.97, 4.53, 3.31, 2.87, 2.65 and 2.32."""
    assert coverage_factor(readings - 1) == pytest.approx(factor, abs=5e-4)


@pytest.mark.parametrize("count", [2, 3, 5])
def test_u_of_a_mean_of_few_readings_holds_the_truth_as_often_as_it_says(count: int) -> None:
    """4,000 draws: 95.45 % with a standard deviation of 0.33 %; +-2 s / sqrt n would hold 70 % of them for two."""
    draws = np.random.default_rng(17).normal(size=(4000, count))
    figures = [figure_of("idle_current", mean_of(row), "A") for row in draws.tolist()]
    held = sum(abs(figure.value) <= (figure.expanded_uncertainty or 0.0) for figure in figures) / len(figures)
    assert held == pytest.approx(0.9545, abs=0.012)
