"""Power is V^2 / R, and the total is the sum of the channels."""

from __future__ import annotations

import pytest
from uncertainties import ufloat

from benchctl.errors import MeasurementError
from benchctl.measure.budget.power import by_channel, load_power


def test_power_is_voltage_squared_over_resistance() -> None:
    power = load_power(ufloat(20.0, 0.02), ufloat(4.0, 0.02))
    assert power.nominal_value == pytest.approx(100.0)
    assert power.std_dev == pytest.approx(100.0 * (0.002**2 + 0.005**2) ** 0.5)


def test_the_total_is_the_sum_of_both_channels_driven() -> None:
    powers = by_channel({"A": ufloat(100.0, 3.0), "B": ufloat(90.0, 4.0)}, is_every_load=True)
    assert list(powers) == ["A", "B", "total"]
    assert (powers["total"].nominal_value, powers["total"].std_dev) == (190.0, pytest.approx(5.0))


def test_there_is_no_total_of_outputs_of_which_some_were_not_seen() -> None:
    assert list(by_channel({"A": ufloat(100.0, 3.0)}, is_every_load=False)) == ["A"]


def test_without_a_channel_that_has_a_load_there_is_no_power() -> None:
    with pytest.raises(MeasurementError):
        by_channel({}, is_every_load=True)
