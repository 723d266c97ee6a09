"""The steps in which an instrument can be set, and the range that it takes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BeforeValidator, GetCoreSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema, core_schema

from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.documents.text.words import describe, unknown
from benchctl.quantity import QuantityError, parse_quantity

Way = Literal["down", "nearest", "up"]
LADDER = "1-2-5"

# Settings of each role that may have steps and a range -> their base units; '' for plain numbers.
SETTINGS: Mapping[str, Mapping[str, str]] = {
    "generator": {
        "frequency": "Hz",
        "level": "V",
        "low_level": "V",
        "cycles": "",
        "every": "s",
        "burst": "s",
        "duty": "1",
        "depth": "1",
        "table_points": "",
        "table_rate": "Hz",
    },
    "oscilloscope": {
        "volts_per_division": "V",
        "seconds_per_division": "s",
        "sample_rate": "Hz",
        "probe_ratio": "",
        "pretrigger": "1",
    },
    "supply": {"voltage": "V", "current_limit": "A", "overvoltage": "V", "overcurrent": "A"},
    "load": {"resistance": "ohm"},
    "thermometer": {},
    "multimeter": {},
}


@dataclass(frozen=True)
class Steps:
    """The values that one setting can have; the program rounds to them before it sends.

    Attributes:
        multiple_of: each multiple of this, if not 0.
        values: these only, in order, if there are any.
        is_ladder: 1, 2 and 5 times each power of ten.
    """

    multiple_of: float = 0.0
    values: tuple[float, ...] = ()
    is_ladder: bool = False

    def rounded(self, value: float, way: Way = "nearest") -> float:
        """The value that can be set: the next one down or up, or the nearest. A value that can be set stays itself."""
        below, above = self._neighbours(value)
        if way == "down":
            return below
        if way == "up":
            return above
        return below if value - below <= above - value else above

    def half_step(self, value: float) -> float:
        """Half the distance of the two values that can be set next to this one."""
        below, above = self._neighbours(value)
        if below == above:
            below, above = self._neighbours(value * (1 + 1e-6))
        return (above - below) / 2

    def _neighbours(self, value: float) -> tuple[float, float]:
        if self.values:
            below = [each for each in self.values if each <= value * (1 + _SAME)]
            above = [each for each in self.values if each >= value * (1 - _SAME)]
            return (max(below, default=self.values[0]), min(above, default=self.values[-1]))
        if self.is_ladder:
            return _ladder_step(value, up=False), _ladder_step(value, up=True)
        count = value / self.multiple_of
        nearest = round(count)
        if math.isclose(count, nearest, rel_tol=_SAME, abs_tol=_SAME):
            return (same := nearest * self.multiple_of, same)
        return math.floor(count) * self.multiple_of, math.ceil(count) * self.multiple_of

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.is_instance_schema(cls)


_LEVEL = "V rms"
_OF_A_SINE = frozenset({"level", "low_level"})
# Values that differ by less are the same setting.
_SAME = 1e-9


def _ladder_step(value: float, *, up: bool) -> float:
    if value <= 0:
        return 0.0
    decade = math.floor(math.log10(value))
    rungs = [digit * 10.0**power for power in (decade - 1, decade, decade + 1) for digit in (1, 2, 5)]
    if up:
        return min(rung for rung in rungs if rung >= value * (1 - _SAME))
    return max(rung for rung in rungs if rung <= value * (1 + _SAME))


@dataclass(frozen=True)
class Range:
    """The least and the most that a setting takes, in its base unit."""

    least: float
    most: float

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.is_instance_schema(cls)


def steps_of(role: str) -> tuple[BeforeValidator, WithJsonSchema]:
    """The type of a driver file's `steps`: setting -> its steps."""
    settings = SETTINGS[role]
    one = {"anyOf": [_WRITTEN, {"type": "array", "items": _WRITTEN, "minItems": 1}]}
    forms = {
        name: {
            **one,
            "description": f"steps of the {_in_words(name)}: a multiple, `1-2-5`, or a list",
            "examples": [LADDER],
        }
        for name in settings
    }
    return BeforeValidator(lambda value: _by_setting(value, settings, _read_steps)), WithJsonSchema(_mapping(forms))


def limits_of(role: str) -> tuple[BeforeValidator, WithJsonSchema]:
    """The type of a driver file's `limits`: setting -> the least and the most that it takes."""
    settings = SETTINGS[role]
    pair = {"type": "array", "items": _WRITTEN, "minItems": 2, "maxItems": 2}
    forms = {
        name: {**pair, "description": f"the least and the most {_in_words(name)}", "examples": [_shown_pair(unit)]}
        for name, unit in settings.items()
    }
    return BeforeValidator(lambda value: _by_setting(value, settings, _read_limits)), WithJsonSchema(_mapping(forms))


_WRITTEN = {"type": ["string", "number"]}


def _mapping(forms: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "object", "properties": dict(forms), "additionalProperties": False}


def _shown_pair(unit: str) -> list[str]:
    return ["1 %", "20 %"] if unit == "1" else [f"1 {unit}".strip(), f"20 {unit}".strip()]


def _in_words(name: str) -> str:
    return name.replace("_", " ")


def _by_setting(value: Any, settings: Mapping[str, str], read: Any) -> dict[str, Any]:
    if not isinstance(value, Mapping):
        raise ValueError(f"{describe(value)} is written where a mapping of settings belongs")
    found: dict[str, Any] = {}
    problems: list[PathProblem] = []
    for name, entry in value.items():
        if name not in settings:
            problems.append(PathProblem((name,), unknown(name, settings, "setting"), is_key=True))
            continue
        try:
            found[str(name)] = read(entry, _LEVEL if name in _OF_A_SINE else settings[name])
        except ValueError as error:
            problems.append(PathProblem((name,), str(error)))
    if problems:
        raise PathProblems(problems)
    return found


def _read_steps(entry: Any, unit: str) -> Steps:
    if isinstance(entry, Steps):
        return entry
    if isinstance(entry, list | tuple):
        values = tuple(sorted(_quantity(each, unit) for each in entry))
        if not values or values[0] <= 0:
            raise ValueError("the values of a setting are more than 0")
        return Steps(values=values)
    if entry == LADDER:
        return Steps(is_ladder=True)
    size = _quantity(entry, unit)
    if size <= 0:
        raise ValueError("a step is more than 0")
    return Steps(multiple_of=size)


def _read_limits(entry: Any, unit: str) -> Range:
    if isinstance(entry, Range):
        return entry
    if not isinstance(entry, list | tuple) or len(entry) != 2:
        raise ValueError(f"{describe(entry)} is written where the least and the most belong: [LEAST, MOST]")
    least, most = (_quantity(each, unit) for each in entry)
    if most <= least:
        raise ValueError("the most is not more than the least")
    return Range(least, most)


def _quantity(text: Any, unit: str) -> float:
    if unit == _LEVEL:
        return _level(str(text))
    try:
        return parse_quantity(str(text), unit) if unit else float(text)
    except QuantityError as error:
        raise ValueError(str(error)) from None
    except (TypeError, ValueError):
        raise ValueError(f"{describe(text)} is written where a number belongs") from None


def _level(text: str) -> float:
    """Of a sine: V rms, or peak to peak as in 50 mVpp."""
    if text.endswith("pp"):
        return _quantity(text.removesuffix("pp"), "V") / (2 * math.sqrt(2))
    return _quantity(text, "V")
