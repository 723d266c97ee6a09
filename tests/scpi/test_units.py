"""Suffixes multiply as IEEE 488.2 7.7.3 says, and a suffix of another unit is refused."""

from __future__ import annotations

import pytest

from benchctl.scpi.device.parameters import Numeric
from benchctl.scpi.errors import ScpiError
from benchctl.scpi.units import check_unit, factor_of


@pytest.mark.parametrize(
    ("multiplier", "factor"),
    [("EX", 1e18), ("PE", 1e15), ("T", 1e12), ("G", 1e9), ("MA", 1e6), ("K", 1e3), ("", 1.0), ("M", 1e-3),
     ("U", 1e-6), ("N", 1e-9), ("P", 1e-12), ("F", 1e-15), ("A", 1e-18)],
)  # fmt: skip
def test_each_multiplier_has_its_factor(multiplier: str, factor: float) -> None:
    """IEEE 488.2 7.7.3, table of suffix multipliers (from memory but for M, MA and U)."""
    assert factor_of(multiplier + "V", "V") == factor
    assert factor_of((multiplier + "v").lower(), "V") == factor


@pytest.mark.parametrize("unit", ["HZ", "OHM"])
def test_m_is_mega_before_hertz_and_ohm(unit: str) -> None:
    """IEEE 488.2 7.7.3: MHZ and MAHZ are both 1e6 Hz; the same for MOHM is from memory."""
    assert factor_of("M" + unit, unit) == factor_of("MA" + unit, unit) == 1e6


def test_a_is_both_ampere_and_atto() -> None:
    assert factor_of("A", "A") == 1.0
    assert factor_of("MA", "A") == 1e-3
    assert factor_of("MAA", "A") == 1e6
    assert factor_of("AA", "A") == 1e-18


def test_no_suffix_leaves_the_number_alone() -> None:
    assert factor_of("", "V") == factor_of("", "") == 1.0


@pytest.mark.parametrize(
    ("suffix", "unit", "code"),
    [("A", "V", -131), ("VV", "V", -131), ("M", "V", -131), ("V", "", -138), ("ABCDEFGHIJKLM", "V", -134)],
)
def test_a_suffix_that_does_not_fit_has_its_own_error(suffix: str, unit: str, code: int) -> None:
    with pytest.raises(ScpiError) as caught:
        factor_of(suffix, unit)
    assert caught.value.code == code


def test_a_parameter_of_an_unknown_unit_cannot_be_made() -> None:
    with pytest.raises(ValueError, match="FURLONG"):
        check_unit("FURLONG")
    with pytest.raises(ValueError, match="FURLONG"):
        Numeric("FURLONG")
