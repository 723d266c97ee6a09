"""Heat: exact steps of any length, and no energy lost; sensors that lag."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.simulator.hardware.thermal import Sensor, ThermalChain

RESISTANCES_K_PER_W, CAPACITIES_J_PER_K, AMBIENT_C = (0.25, 0.55), (18.0, 900.0), 23.0


def heatsink() -> ThermalChain:
    """Devices on a heatsink in a room of 23 degC."""
    return ThermalChain(RESISTANCES_K_PER_W, CAPACITIES_J_PER_K, AMBIENT_C)


def stored_j(chain: ThermalChain) -> float:
    """Heat stored in the masses, above room temperature."""
    return sum(c * (t - AMBIENT_C) for c, t in zip(CAPACITIES_J_PER_K, chain.temperatures_c, strict=True))


def to_air_w(chain: ThermalChain) -> float:
    """The heat flow into the air at this instant."""
    return (chain.temperatures_c[-1] - AMBIENT_C) / RESISTANCES_K_PER_W[-1]


@settings(derandomize=True, max_examples=50, deadline=None)
@given(heat=st.floats(0, 400), cuts=st.lists(st.floats(0.001, 500), min_size=1, max_size=8))
def test_many_short_steps_lead_where_one_long_step_does(heat: float, cuts: list[float]) -> None:
    pieces, whole = heatsink(), heatsink()
    for seconds in cuts:
        pieces.advance(seconds, heat)
    whole.advance(sum(cuts), heat)
    assert pieces.temperatures_c == pytest.approx(whole.temperatures_c, abs=1e-6)


def test_what_goes_in_is_stored_or_given_to_the_air() -> None:
    """Energy: 200 W for 600 s, the loss to the air summed in steps of 50 ms."""
    chain = heatsink()
    to_air_j = 0.0
    for _ in range(12_000):
        before_w = to_air_w(chain)
        chain.advance(0.05, 200.0)
        to_air_j += 0.05 * (before_w + to_air_w(chain)) / 2
    assert stored_j(chain) + to_air_j == pytest.approx(200.0 * 600, rel=1e-6)


def test_it_ends_where_ohms_law_of_heat_says() -> None:
    chain = heatsink()
    chain.advance(1e5, 100.0)
    assert chain.temperatures_c == pytest.approx((23 + 80, 23 + 55), abs=1e-6)


@pytest.mark.parametrize("bad", [([1.0], []), ([], []), ([1.0, 2.0], [1.0]), ([0.0], [1.0]), ([1.0], [-1.0])])
def test_an_impossible_chain_is_refused(bad: tuple[list[float], list[float]]) -> None:
    with pytest.raises(ValueError, match="thermal"):
        ThermalChain(*bad, ambient_c=20.0)


def test_a_sensor_nears_a_new_temperature_as_a_first_order_lag_does() -> None:
    """After one, two, three time constants e^-1, e^-2, e^-3 of the way are left."""
    sensor = Sensor(4.0, 20.0)
    sensor.follow(1e-9, 100.0)
    for turns in (1, 2, 3):
        sensor.follow(4.0, 100.0)
        assert sensor.temperature_c == pytest.approx(100.0 - 80.0 * math.exp(-turns))


@settings(derandomize=True, max_examples=50, deadline=None)
@given(cuts=st.lists(st.floats(0.001, 20), min_size=1, max_size=8))
def test_a_sensor_on_what_warms_evenly_is_where_the_closed_form_says_however_often_one_looks(cuts: list[float]) -> None:
    """For T = 20 + 3·t: x = T - 3·lag·(1 - e^(-t/lag)), the answer of a first-order lag to a ramp."""
    sensor, now_s = Sensor(5.0, 20.0), 0.0
    for seconds in cuts:
        now_s += seconds
        sensor.follow(seconds, 20.0 + 3.0 * now_s)
    assert sensor.temperature_c == pytest.approx(20.0 + 3.0 * now_s - 15.0 * (1 - math.exp(-now_s / 5.0)), abs=1e-9)


def test_a_sensor_without_lag_is_as_warm_as_what_it_is_fixed_to() -> None:
    sensor = Sensor(0.0, 20.0)
    sensor.follow(0.05, 31.0)
    assert sensor.temperature_c == 31.0
