"""Readings become figures with their scatter and their meter's error."""

from __future__ import annotations

import math

import pytest

from benchctl.measure.budget.meters import Meters
from benchctl.measure.uncertainty import Accuracy

ACCURACY = {
    "supply_voltage": (Accuracy(reading=0.001, resolution=1e-5),),
    "supply_current": (Accuracy(reading=0.01, fixed=0.05, resolution=1e-5),),
}


def test_a_reading_has_its_meters_errors_of_gain_and_of_zero() -> None:
    value = Meters({"supply_current": [10.0]}, ACCURACY).get("supply_current")
    assert value is not None
    assert value.std_dev == pytest.approx(math.hypot(0.1, 0.05) / math.sqrt(3))


def test_a_supply_that_reads_in_steps_is_off_by_up_to_half_a_step() -> None:
    """0.1 A: +-50 mA rectangular beside +-60 mA and +-1 % of 10 A, each rectangular (JCGM 100, F.2.2.1)."""
    stated = {"supply_current": (Accuracy(reading=0.01, fixed=0.06, resolution=0.1),)}
    value = Meters({"supply_current": [10.0, 10.0]}, stated).get("supply_current")
    assert value is not None
    assert value.std_dev == pytest.approx(math.hypot(0.1, 0.06, 0.05) / math.sqrt(3))


def test_what_was_not_read_is_no_figure() -> None:
    meters = Meters({"supply_current": [10.0], "heatsink": []}, ACCURACY)
    assert meters.get("supply_voltage") is None
    assert meters.supply_power() is None
    assert meters.temperatures() == []


def test_power_is_the_product_of_what_was_read_together() -> None:
    power = Meters({"supply_voltage": [14.0, 15.0], "supply_current": [15.0, 14.0]}, {}).supply_power()
    assert power is not None
    assert power.nominal_value == pytest.approx(14.5**2)
    assert power.std_dev == pytest.approx(0.0, abs=1e-6)  # what one gained the other lost


def test_a_heatsinks_temperature_is_in_degrees() -> None:
    (figure,) = Meters({"heatsink": [40.0, 41.0]}, {}).temperatures()
    assert (figure.name, figure.value, figure.unit) == ("heatsink_temperature", 40.5, "degC")
