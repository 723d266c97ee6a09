"""Output impedance from two loads against a worked example (Ohm's law, back-substituted)."""

from __future__ import annotations

import numpy as np
import pytest
from uncertainties import ufloat

from benchctl.errors import MeasurementError
from benchctl.measure.signal.output_impedance import output_impedance


def test_the_worked_example_of_two_loads() -> None:
    """10.000 V into 8 ohm and 9.960 V into 4 ohm: Z 0.0322580645 ohm, E 10.0403225806 V, DF 124 at 4 and 248 at 8."""
    source = output_impedance(10.000, 8.0, 9.960, 4.0)
    assert source.impedance.nominal_value == pytest.approx(0.0322580645, abs=1e-10)
    assert source.source.nominal_value == pytest.approx(10.0403225806, abs=1e-10)
    assert source.damping_factor(4.0).nominal_value == pytest.approx(124.0)
    assert source.damping_factor(8.0).nominal_value == pytest.approx(248.0)


def test_five_millivolts_on_each_reading_are_eighteen_per_cent_of_the_impedance() -> None:
    source = output_impedance(ufloat(10.000, 5e-3), 8.0, ufloat(9.960, 5e-3), 4.0)
    assert source.impedance.std_dev == pytest.approx(0.006, rel=0.05)


def test_the_uncertainty_agrees_with_a_monte_carlo_run() -> None:
    """After JCGM 101, from the same source in 200 000 draws."""
    random = np.random.default_rng(3)
    v1, v2 = 10.0 + 2e-3 * random.standard_normal(200_000), 9.96 + 2e-3 * random.standard_normal(200_000)
    r1, r2 = 8.0 + 0.01 * random.standard_normal(200_000), 4.0 + 0.01 * random.standard_normal(200_000)
    drawn = (v1 - v2) / (v2 / r2 - v1 / r1)
    ours = output_impedance(ufloat(10.0, 2e-3), ufloat(8.0, 0.01), ufloat(9.96, 2e-3), ufloat(4.0, 0.01))
    assert ours.impedance.std_dev == pytest.approx(float(np.std(drawn)), rel=0.02)


def test_an_error_common_to_both_readings_all_but_cancels() -> None:
    """One meter, one range: half a per cent of gain error leaves the impedance as it was."""
    gain = ufloat(1.0, 0.005)
    shared = output_impedance(10.0 * gain, 8.0, 9.96 * gain, 4.0)
    assert shared.impedance.std_dev < 1e-9


def test_the_leads_are_taken_away() -> None:
    source = output_impedance(10.000, 8.0, 9.960, 4.0, lead_ohm=0.016)
    assert source.impedance.nominal_value == pytest.approx(0.0322580645 - 0.016, abs=1e-9)


def test_an_impedance_not_told_from_zero_gives_only_a_lowest_damping_factor() -> None:
    source = output_impedance(ufloat(10.000, 0.02), 8.0, ufloat(9.990, 0.02), 4.0)
    assert source.is_bound
    with pytest.raises(MeasurementError):
        source.damping_factor(4.0)
    assert source.lowest_damping_factor(4.0) == pytest.approx(4.0 / source.highest_ohm)


def test_a_voltage_that_rises_with_the_load_is_a_contradiction() -> None:
    with pytest.raises(MeasurementError):
        output_impedance(10.0, 8.0, 10.5, 4.0).lowest_damping_factor(4.0)


@pytest.mark.parametrize(
    ("v1", "r1", "v2", "r2"), [(10.0, 8.0, 10.0, 8.0), (0.0, 8.0, 9.9, 4.0), (10.0, 8.0, 9.9, 0.0)]
)
def test_loads_or_voltages_that_tell_nothing_are_a_named_error(v1: float, r1: float, v2: float, r2: float) -> None:
    with pytest.raises(MeasurementError):
        output_impedance(v1, r1, v2, r2)
