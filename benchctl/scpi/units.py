"""Suffixes of program numbers: multipliers and units (SCPI-99 volume 1, 7.5; IEEE 488.2 7.7.3)."""

from __future__ import annotations

from collections.abc import Mapping

from benchctl.scpi.errors import ScpiError

# IEEE 488.2 7.7.3: M is milli and MA is mega.
_MULTIPLIERS: Mapping[str, float] = {
    "": 1.0,
    "EX": 1e18,
    "PE": 1e15,
    "T": 1e12,
    "G": 1e9,
    "MA": 1e6,
    "K": 1e3,
    "M": 1e-3,
    "U": 1e-6,
    "N": 1e-9,
    "P": 1e-12,
    "F": 1e-15,
    "A": 1e-18,
}
# The two exceptions of IEEE 488.2 7.7.3: MHZ and MOHM are mega, not milli.
_MEGA_BY_M = frozenset({"HZ", "OHM"})
_UNITS = ("V", "A", "OHM", "HZ", "S", "W", "CEL", "PCT", "DB", "DBM", "DEG", "RAD", "F", "H", "J")

# IEEE 488.2 7.7.3: a suffix longer than 12 characters is a separate error.
LONGEST_SUFFIX = 12


def _factors(unit: str) -> dict[str, float]:
    factors = {multiplier + unit: factor for multiplier, factor in _MULTIPLIERS.items()}
    if unit in _MEGA_BY_M:
        factors["M" + unit] = 1e6
    return factors


_FACTORS: Mapping[str, Mapping[str, float]] = {unit: _factors(unit) for unit in _UNITS}


def check_unit(unit: str) -> None:
    """Refuse a unit without known suffixes.

    Raises:
        ValueError: an unknown unit.
    """
    if unit and unit not in _FACTORS:
        raise ValueError(f"no suffix is known for '{unit}'; known are {', '.join(_UNITS)}")


def factor_of(suffix: str, unit: str) -> float:
    """What a number with `suffix` is multiplied by to be in `unit` ("" where the parameter takes no suffix).

    Raises:
        ScpiError: -134 too long, -138 no suffix allowed here, -131 a suffix of another unit.
    """
    if not suffix:
        return 1.0
    if len(suffix) > LONGEST_SUFFIX:
        raise ScpiError(-134, suffix)
    if not unit:
        raise ScpiError(-138, suffix)
    factor = _FACTORS[unit].get(suffix.upper())
    if factor is None:
        raise ScpiError(-131, suffix)
    return factor
