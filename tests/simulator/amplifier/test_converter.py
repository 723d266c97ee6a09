"""The supply, its lead and the converter."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.simulator.amplifier.converter import Converter, Source

CONVERTER = Converter(ratio=3.0, stiffness_ohm=0.36, efficiency=0.9, small_stages_a=0.25)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(
    voltage=st.floats(0.0, 20.0),
    limit=st.floats(0.0, 200.0),
    lead=st.floats(0.0, 0.05),
    rail=st.floats(0.0, 60.0),
)
def test_supply_law_converter_law_and_limit_hold_at_every_operating_point(
    voltage: float, limit: float, lead: float, rail: float
) -> None:
    draw = CONVERTER.draw(Source(voltage, limit, lead), rail)
    assert 0 <= draw.supply_a <= limit
    assert draw.charge_a >= 0, "the diode lets nothing flow back"
    assert draw.terminal_v + lead * draw.supply_a <= voltage + 1e-9 or draw.supply_a == limit
    if draw.charge_a > 0:
        assert draw.charge_a == pytest.approx((3.0 * draw.terminal_v - rail) / 0.36, abs=1e-6)
        assert draw.supply_a == pytest.approx(3.0 * draw.charge_a / 0.9 + 0.25, abs=1e-9)


def test_the_terminals_fall_by_lead_resistance_times_current() -> None:
    draw = CONVERTER.draw(Source(14.4, 1000.0, 0.01), 38.0)
    assert draw.terminal_v == pytest.approx(14.4 - 0.01 * draw.supply_a)


def test_past_the_limit_the_supply_folds_to_constant_current() -> None:
    draw = CONVERTER.draw(Source(14.4, 20.0, 0.01), 30.0)
    assert draw.supply_a == 20.0
    assert draw.terminal_v < 14.4 - 0.01 * 20.0


def test_a_switched_off_converter_leaves_only_the_small_stages() -> None:
    draw = Converter(0.0, 0.36, 0.9, 0.004).draw(Source(14.4, 90.0, 0.01), 30.0)
    assert (draw.supply_a, draw.charge_a) == (0.004, 0.0)


def test_the_slope_is_the_derivative_of_the_charging_current() -> None:
    source = Source(14.4, 1000.0, 0.01)
    rise = (CONVERTER.draw(source, 38.001).charge_a - CONVERTER.draw(source, 37.999).charge_a) / 0.002
    assert CONVERTER.draw(source, 38.0).charge_slope == pytest.approx(rise, rel=1e-6)


REGULATED = Converter(ratio=4.0, stiffness_ohm=0.05, efficiency=0.9, small_stages_a=0.25, regulated_v=40.0)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(
    voltage=st.floats(0.0, 20.0),
    limit=st.floats(0.0, 200.0),
    lead=st.floats(0.0, 0.05),
    rail=st.floats(0.0, 60.0),
)
def test_a_regulating_converter_keeps_the_laws_of_supply_and_energy(
    voltage: float, limit: float, lead: float, rail: float
) -> None:
    """Terminals fall with the lead's drop; the power taken there, times the efficiency, goes into the open rail."""
    draw = REGULATED.draw(Source(voltage, limit, lead), rail)
    assert 0 <= draw.supply_a <= limit
    assert draw.charge_a >= 0
    assert draw.terminal_v + lead * draw.supply_a <= voltage + 1e-9 or draw.supply_a == limit
    if draw.charge_a > 0:
        open_v = REGULATED.open_rail_v(draw.terminal_v)
        assert open_v <= 40.0
        assert draw.charge_a == pytest.approx((open_v - rail) / 0.05, abs=1e-6)
        taken_w = draw.terminal_v * (draw.supply_a - 0.25)
        assert taken_w * 0.9 == pytest.approx(open_v * draw.charge_a, rel=1e-9)


def test_a_regulating_converter_holds_its_rail_whatever_the_supply_until_its_ratio_is_spent() -> None:
    charges = [REGULATED.draw(Source(voltage, 1000.0, 0.0), 39.0).charge_a for voltage in (16.0, 12.0, 10.0)]
    assert charges == pytest.approx([20.0, 20.0, 20.0])
    assert REGULATED.draw(Source(9.9, 1000.0, 0.0), 39.0).charge_a == pytest.approx((39.6 - 39.0) / 0.05)
