"""The heatsink's sensor against the heat, with the closed form of a mass that is heated: P R (1 - exp(-t / tau))
(Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, the lumped capacitance method)."""

from __future__ import annotations

import math

import pytest

from benchctl.measure.agreement.comparison import contradictions
from benchctl.measure.agreement.warmth import LAG_S, LeastRise, Row, as_readings, warmth_comparisons
from benchctl.measure.analyses.warmth_context import WarmthContext

K_PER_W, TAU_S, SUPPLY_V, IDLE_A = 0.5, 480.0, 14.4, 2.0
CONTEXT = WarmthContext(heatsink_k_per_w=K_PER_W, time_constant_s=TAU_S, idle_w=SUPPLY_V * IDLE_A, least_heat=0.2)
NONE = math.nan


def row(time_s: float, heatsink_c: float, air_c: float = NONE, supply_a: float = 12.0) -> Row:
    return Row(time_s, SUPPLY_V, supply_a, heatsink_c, air_c)


def least_w(supply_a: float) -> float:
    """All of the idle power, and a fifth of the rest."""
    return SUPPLY_V * (IDLE_A + 0.2 * (supply_a - IDLE_A))


@pytest.mark.parametrize("supply_a", [2.0, 12.0])
def test_the_least_rise_is_that_of_a_heated_mass_as_a_sensor_that_lags_shows_it(supply_a: float) -> None:
    rows = [row(5.0 * number, 20.0, 20.0, supply_a) for number in range(121)]
    least = LeastRise(CONTEXT, rows[0])
    found_k = [least.follow(each) for each in rows[1:]]
    expected_k = least_w(supply_a) * K_PER_W * -math.expm1(-(600.0 - LAG_S) / TAU_S)
    assert found_k[-1] == pytest.approx(expected_k, rel=1e-6)
    assert found_k[2] == 0.0


def told(*sensor_c: tuple[float, float]) -> list[str]:
    """What is wrong after ten minutes of 12 A, as heatsink and air changed evenly between these."""
    count = 121
    rows = [
        row(5.0 * number, *(low + (high - low) * number / (count - 1) for low, high in sensor_c))
        for number in range(count)
    ]
    return [each.check for each in contradictions(warmth_comparisons({}, as_readings(rows), CONTEXT))]


def test_a_sensor_that_shows_a_tenth_of_the_least_rise_is_on_the_heatsink() -> None:
    """The least rise is 20 K."""
    assert told((20.0, 23.0), (20.0, 20.0)) == []
    (check,) = told((20.0, 20.5), (20.0, 20.0))
    assert "it fell off" in check


def test_a_sensor_of_the_air_that_warms_instead_has_changed_places_with_it() -> None:
    (check,) = told((20.0, 20.5), (20.0, 45.0))
    assert "changed places" in check


def test_a_heatsink_that_is_warm_from_an_earlier_run_may_cool_meanwhile() -> None:
    """From 45 degC in air of 20 it may lose 18 K of its 25; where nothing measures the air, more."""
    assert told((45.0, 45.0), (20.0, 20.0)) == []
    assert told((38.0, 38.0)) == []


def test_nothing_is_told_of_a_heatsink_that_could_hardly_have_warmed() -> None:
    rows = [row(5.0 * number, 20.0, 20.0, supply_a=0.5) for number in range(121)]
    assert list(warmth_comparisons({}, as_readings(rows), CONTEXT)) == []
