"""Power is V^2 / R; a bridged pair shares its load."""

from __future__ import annotations

import pytest
from uncertainties import ufloat

from benchctl.errors import MeasurementError
from benchctl.measure.power import bridged_half_load, by_channel, load_power


def test_power_is_voltage_squared_over_resistance() -> None:
    power = load_power(ufloat(20.0, 0.02), ufloat(4.0, 0.02))
    assert power.nominal_value == pytest.approx(100.0)
    assert power.std_dev == pytest.approx(100.0 * (0.002**2 + 0.005**2) ** 0.5)


def test_the_total_is_the_sum_of_both_channels_driven() -> None:
    powers = by_channel({"A": ufloat(100.0, 3.0), "B": ufloat(90.0, 4.0)})
    assert list(powers) == ["A", "B", "total"]
    assert (powers["total"].nominal_value, powers["total"].std_dev) == (190.0, pytest.approx(5.0))


def test_half_of_a_bridged_pairs_power_is_each_channels_share() -> None:
    powers = by_channel({"A": ufloat(440.0, 4.0)}, bridged=True)
    assert {channel: power.nominal_value for channel, power in powers.items()} == {
        "A": 220.0,
        "B": 220.0,
        "total": 440.0,
    }
    assert powers["A"].std_dev == pytest.approx(2.0)


def test_each_half_of_a_bridged_pair_sees_half_the_load() -> None:
    assert bridged_half_load(8.0) == 4.0


@pytest.mark.parametrize(("powers", "bridged"), [({}, False), ({"A": ufloat(1, 0.1), "B": ufloat(1, 0.1)}, True)])
def test_powers_that_fit_no_wiring_are_refused(powers: dict, bridged: bool) -> None:
    with pytest.raises(MeasurementError):
        by_channel(powers, bridged=bridged)
