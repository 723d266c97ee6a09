"""The vertical ranges that are asked for."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.instruments.oscilloscope.vertical import FINEST_V_PER_DIVISION, ranges_v, setting_v

# ISO 3:1973, table 1: the basic series R5.
R5 = (1.0, 1.6, 2.5, 4.0, 6.3)


@pytest.mark.parametrize("mantissa", R5)
@pytest.mark.parametrize("decade", [-2, -1, 0, 1])
def test_a_setting_of_the_series_stays_itself(mantissa: float, decade: int) -> None:
    assert setting_v(float(f"{mantissa}e{decade}")) == float(f"{mantissa}e{decade}")


@given(st.floats(FINEST_V_PER_DIVISION, 100.0))
def test_a_setting_is_the_next_of_the_series_and_no_finer_than_wanted(wanted_v: float) -> None:
    got = setting_v(wanted_v)
    assert wanted_v * (1 - 1e-5) <= got <= 1.601 * wanted_v
    assert any(math.isclose(got, float(f"{mantissa}e{decade}")) for mantissa in R5 for decade in range(-3, 3))


def test_nothing_is_finer_than_the_finest() -> None:
    assert setting_v(1e-9) == FINEST_V_PER_DIVISION


def test_the_ranges_up_to_one_leave_none_out() -> None:
    assert ranges_v(0.011) == (0.001, 0.0016, 0.0025, 0.004, 0.0063, 0.01, 0.016)
    assert ranges_v(0.01)[-1] == 0.01
    assert ranges_v(0.0) == (FINEST_V_PER_DIVISION,)


@given(st.floats(FINEST_V_PER_DIVISION, 50.0))
def test_every_setting_that_is_asked_for_is_among_them(wanted_v: float) -> None:
    assert setting_v(wanted_v) in ranges_v(50.0)
