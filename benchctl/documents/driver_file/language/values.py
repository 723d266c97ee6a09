"""The values that a command may take, and the units that an instrument may want them in.

The program gives each value once, in its base unit, such as `level_v` (V rms) or `every_s`. A driver file may write it
in another unit by the name of that unit: `{level_vpp}`, `{every_ms}`. So no formula is needed in a driver file.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

Kind = Literal["real", "whole", "wholes", "word", "table"]
REAL: Kind = "real"
WHOLE: Kind = "whole"
WHOLES: Kind = "wholes"  # a channel list's inside: 101,103
WORD: Kind = "word"  # letters, digits and `_`, from a closed set
TABLE: Kind = "table"  # samples, as text or as a block


class TableText(str):
    """Samples as they are sent, written by the program: numbers with commas, or a block with a character a byte."""


_FACTORS: Mapping[str, Mapping[str, float]] = {
    "_v": {"_mv": 1e3, "_cv": 1e2, "_dv": 10.0},
    "_a": {"_ma": 1e3, "_ca": 1e2},
    "_s": {"_ms": 1e3, "_us": 1e6, "_ns": 1e9},
    "_hz": {"_khz": 1e-3},
    "_ohm": {"_mohm": 1e3, "_kohm": 1e-3},
}
# Of a sine's level in V rms.
_LEVELS: Mapping[str, Callable[[float], float]] = {
    "_mv": lambda rms: 1e3 * rms,
    "_peak_v": lambda rms: math.sqrt(2) * rms,
    "_vpp": lambda rms: 2 * math.sqrt(2) * rms,
    "_mvpp": lambda rms: 2e3 * math.sqrt(2) * rms,
    "_dbv": lambda rms: 20 * math.log10(rms) if rms > 0 else math.nan,
}
LEVELS = ("level_v", "low_level_v", "mean_level_v", "sum_level_v", "low_tone_v", "high_tone_v")
# Of a square wave's level in V rms, which is its peak.
_SQUARE_LEVELS: Mapping[str, Callable[[float], float]] = {
    "_mv": lambda rms: 1e3 * rms,
    "_vpp": lambda rms: 2.0 * rms,
    "_mvpp": lambda rms: 2e3 * rms,
}
SQUARE_LEVEL = "square_v"
# Numbers that an instrument may know by letters: 1 is A.
_LETTERED = ("output", "channel", "relay")


@dataclass(frozen=True)
class Spelling:
    """One way to write a value.

    Attributes:
        base: the value's own name.
        kind: what is put in.
        convert: from the base value to what is put in.
    """

    base: str
    kind: Kind
    convert: Callable[[float], float | str] | None = None


def spellings(offered: Mapping[str, Kind]) -> dict[str, Spelling]:
    """Every name under which one of these values may be written."""
    return {name: spelling for base, kind in offered.items() for name, spelling in _ways_to_write(base, kind)}


def _ways_to_write(base: str, kind: Kind) -> list[tuple[str, Spelling]]:
    ways = [(base, Spelling(base, kind))]
    if base in LEVELS or base == SQUARE_LEVEL:
        stem, levels = base.removesuffix("_v"), _LEVELS if base in LEVELS else _SQUARE_LEVELS
        ways += [(stem + ending, Spelling(base, REAL, convert)) for ending, convert in levels.items()]
    elif kind == REAL:
        ways += [(name, Spelling(base, REAL, convert)) for name, convert in _in_other_units(base)]
    elif base in _LETTERED:
        ways.append((f"{base}_letter", Spelling(base, WORD, _letter)))
    return ways


def _in_other_units(base: str) -> list[tuple[str, Callable[[float], float]]]:
    ending = next((ending for ending in _FACTORS if base.endswith(ending)), "")
    stem = base.removesuffix(ending)
    ways = [(stem + other, _multiplied(factor)) for other, factor in _FACTORS.get(ending, {}).items()]
    if base == "frequency_hz":
        ways += [("period_s", _per(1.0)), ("period_ms", _per(1e3)), ("period_us", _per(1e6))]
    return ways


def _multiplied(factor: float) -> Callable[[float], float]:
    return lambda value: value * factor


def _per(factor: float) -> Callable[[float], float]:
    return lambda value: factor / value if value else math.nan


def _letter(number: float) -> str:
    if not 1 <= number <= 26:
        raise ValueError(f"{number:g} has no letter")
    return chr(ord("A") + int(number) - 1)
