"""Typed scalars for the models: `Volts` is a float in V that was written with its unit.

A document's scalars arrive as text. Each type here reads its own text and lets a number that Python code gives pass,
so that a model can be built from either.
"""

from __future__ import annotations

import datetime
import math
import operator
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from annotated_types import Len
from pydantic import AfterValidator, BeforeValidator, GetCoreSchemaHandler, GetJsonSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema, core_schema

from benchctl.address import parse_address
from benchctl.documents.text.words import describe
from benchctl.errors import quote
from benchctl.quantity import QuantityError, example, parse_quantity, pattern_for, render


def _reader(base_unit: str) -> BeforeValidator:
    def read(value: object) -> object:
        if isinstance(value, str):
            return parse_quantity(value, base_unit)
        if isinstance(value, dict | list):
            raise QuantityError(
                f"{describe(value)} is written where one quantity belongs, such as '{example(base_unit)}'"
            )
        return value

    return BeforeValidator(read)


def _schema(base_unit: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "unit": base_unit, "examples": [example(base_unit)]})


Volts = Annotated[float, _reader("V"), _schema("V")]
Amperes = Annotated[float, _reader("A"), _schema("A")]
Ohms = Annotated[float, _reader("ohm"), _schema("ohm")]
Hertz = Annotated[float, _reader("Hz"), _schema("Hz")]
Seconds = Annotated[float, _reader("s"), _schema("s")]
Watts = Annotated[float, _reader("W"), _schema("W")]
Farads = Annotated[float, _reader("F"), _schema("F")]
Henries = Annotated[float, _reader("H"), _schema("H")]
Celsius = Annotated[float, _reader("degC"), _schema("degC")]
Kelvins = Annotated[float, _reader("K"), _schema("K")]
Ratio = Annotated[float, _reader("1"), _schema("1")]
PerKelvin = Annotated[float, _reader("1/K"), _schema("1/K")]
VoltsPerAmpere = Annotated[float, _reader("V/A"), _schema("V/A")]
SamplesPerSecond = Annotated[float, _reader("Sa/s"), _schema("Sa/s")]
KelvinsPerWatt = Annotated[float, _reader("K/W"), _schema("K/W")]
JoulesPerKelvin = Annotated[float, _reader("J/K"), _schema("J/K")]
VoltsPerSecond = Annotated[float, _reader("V/s"), _schema("V/s")]
KelvinsPerSecond = Annotated[float, _reader("K/s"), _schema("K/s")]


class OutOfRange(ValueError):
    """A value that is read well but lies beyond what can be meant; the text says what would be right."""


# The words of each bound, and which of two bounds holds where a type has both.
_BOUNDS: Mapping[str, tuple[str, Callable[[float, float], bool], Callable[[float, float], float]]] = {
    "above": ("more than", operator.gt, max),
    "at_least": ("at least", operator.ge, max),
    "below": ("less than", operator.lt, min),
    "at_most": ("at most", operator.le, min),
}
# What a schema calls the bounds of a value.
RANGE = "range"


@dataclass(frozen=True)
class _Bounded:
    """A range, checked where a value is read and told where a schema is made."""

    unit: str
    bounds: tuple[tuple[str, float], ...]

    def _check(self, value: float) -> float:
        for name, bound in self.bounds:
            words, holds, _ = _BOUNDS[name]
            if not holds(value, bound):
                raise OutOfRange(f"it must be {words} {_render(bound, self.unit)}")
        return value

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_after_validator_function(self._check, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """The type that is bounded may have bounds of its own; of two the stricter holds."""
        whole = handler(schema)
        bounds = dict(whole.get(RANGE, {}))
        for name, bound in self.bounds:
            bounds[name] = _BOUNDS[name][2](bound, bounds.get(name, bound))
        return {**whole, RANGE: {**bounds, "unit": self.unit}}


def bounded(
    unit: str,
    *,
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
    at_most: float | None = None,
) -> _Bounded:
    """A range check whose refusal is a sentence with the unit: `Annotated[Volts, bounded("V", above=0)]`.

    A ratio's bounds are told in % (unit "1") or in dB.
    """
    given = {"above": above, "at_least": at_least, "below": below, "at_most": at_most}
    return _Bounded(unit, tuple((name, bound) for name, bound in given.items() if bound is not None))


def range_in_words(bounds: Mapping[str, Any]) -> str:
    """A schema's range as a sentence has it: `more than 0 V and at most 60 V`."""
    lower = max((name for name in ("above", "at_least") if name in bounds), key=lambda name: bounds[name], default=None)
    upper = min((name for name in ("below", "at_most") if name in bounds), key=lambda name: bounds[name], default=None)
    told = (f"{_BOUNDS[name][0]} {_render(bounds[name], bounds['unit'])}" for name in (lower, upper) if name)
    return " and ".join(told)


def _render(value: float, unit: str) -> str:
    if unit == "s" and abs(value) >= 2 * _HOUR_S:
        return f"{value / _HOUR_S:g} h"
    if unit == "dB":
        return f"{20.0 * math.log10(value):.4g} dB"
    return f"{value:g}" if not unit else render(value, unit)


_HOUR_S = 3600.0
# A week: no hold, wait or drive of a bench is longer, so more is a slip of the unit.
LONGEST_S = 168 * _HOUR_S
PositiveVolts = Annotated[Volts, bounded("V", above=0)]
PositiveAmperes = Annotated[Amperes, bounded("A", above=0)]
PositiveOhms = Annotated[Ohms, bounded("ohm", above=0)]
PositiveHertz = Annotated[Hertz, bounded("Hz", above=0)]
# The slowest and the fastest tone that an audio amplifier is driven with (common practice: the response of the widest
# ones is told to 200 kHz).
AudioHertz = Annotated[Hertz, bounded("Hz", at_least=1, at_most=200e3)]
PositiveSeconds = Annotated[Seconds, bounded("s", above=0, at_most=LONGEST_S)]
PositiveWatts = Annotated[Watts, bounded("W", above=0)]
PositiveHenries = Annotated[Henries, bounded("H", above=0)]
PositiveFarads = Annotated[Farads, bounded("F", above=0)]
PositiveKelvinsPerWatt = Annotated[KelvinsPerWatt, bounded("K/W", above=0)]
PositiveJoulesPerKelvin = Annotated[JoulesPerKelvin, bounded("J/K", above=0)]
NotNegativeVolts = Annotated[Volts, bounded("V", at_least=0)]
NotNegativeAmperes = Annotated[Amperes, bounded("A", at_least=0)]
NotNegativeOhms = Annotated[Ohms, bounded("ohm", at_least=0)]
NotNegativeWatts = Annotated[Watts, bounded("W", at_least=0)]
NotNegativeKelvins = Annotated[Kelvins, bounded("K", at_least=0)]
NotNegativeSeconds = Annotated[Seconds, bounded("s", at_least=0, at_most=LONGEST_S)]
# Below -55 or above 400 degC no sensor of this bench reads and no heatsink lives: a slip of the unit.
Temperature = Annotated[Celsius, bounded("degC", at_least=-55, at_most=400)]
# A distortion bound: 0.001 % is below any bench's floor, and beyond 30 % nobody calls the signal a sine.
Distortion = Annotated[Ratio, bounded("1", at_least=1e-5, at_most=0.3)]
# The error of an instrument or the uncertainty of a value; a half is not a measurement any more.
Tolerance = Annotated[Ratio, bounded("1", at_least=0, below=0.5)]

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_WHOLE = re.compile(r"0|[1-9][0-9]{0,17}")


def _read_number(value: object) -> object:
    if isinstance(value, dict | list):
        raise ValueError(f"{describe(value)} is written where one number belongs")
    if isinstance(value, str):
        if not _NUMBER.fullmatch(value):
            raise ValueError(
                f"{describe(value)} is not a plain number; write for example '10' or '0.5', without a unit"
            )
        return float(value)
    return value


def _read_whole(value: object) -> object:
    if isinstance(value, dict | list):
        raise ValueError(f"{describe(value)} is written where one whole number belongs")
    if isinstance(value, str):
        if not _WHOLE.fullmatch(value):
            raise ValueError(f"{describe(value)} is not a whole number; write for example '8'")
        return int(value)
    return value


def _read_points(value: object) -> object:
    """A whole number, or one with k or M behind it."""
    if not isinstance(value, str) or _WHOLE.fullmatch(value):
        return _read_whole(value)
    try:
        points = parse_quantity(value, "")
    except QuantityError:
        points = math.nan
    if not points.is_integer():
        raise ValueError(f"{describe(value)} is not a number of points; write for example '10k', '1M' or '10000'")
    return int(points)


def _read_date(value: object) -> object:
    if isinstance(value, datetime.date):
        return value
    try:
        if isinstance(value, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
            return datetime.date.fromisoformat(value)
    except ValueError:
        pass  # the thirtieth of February: refused in the same words
    raise ValueError(f"{describe(value)} is not a date; write year, month and day as in '2026-03-02'")


def _read_gain(value: object) -> object:
    if isinstance(value, str) and value.rstrip().endswith("dB"):
        return parse_quantity(value, "1")
    return _read_number(value)


# A gain is volts for a volt: a plain number, or decibels. It is at least 0.001 and at most a million.
Gain = Annotated[
    float,
    BeforeValidator(_read_gain),
    WithJsonSchema({"type": ["string", "number"], "examples": ["30 dB", "31.6"]}),
    bounded("", at_least=1e-3, at_most=1e6),
]
Number = Annotated[float, BeforeValidator(_read_number), WithJsonSchema({"type": "number", "examples": [10]})]
NotNegativeNumber = Annotated[Number, bounded("", at_least=0)]
PositiveNumber = Annotated[Number, bounded("", above=0)]
_YES_NO = {"yes": True, "true": True, "no": False, "false": False}


def read_yes_no(value: object) -> bool:
    """Read `yes` or `no`, in either language of a document's values."""
    if isinstance(value, bool):
        return value
    if not isinstance(value, str) or value.lower() not in _YES_NO:
        raise ValueError(f"{describe(value)} is written where 'yes' or 'no' belongs")
    return _YES_NO[value.lower()]


YesNo = Annotated[
    bool, BeforeValidator(read_yes_no), WithJsonSchema({"enum": ["yes", "no", True, False], "examples": ["yes"]})
]
Whole = Annotated[int, BeforeValidator(_read_whole), WithJsonSchema({"type": "integer", "minimum": 0})]
# As data sheets write them.
Points = Annotated[
    int,
    BeforeValidator(_read_points),
    WithJsonSchema({"type": ["integer", "string"], "minimum": 0, "pattern": pattern_for("")}),
]
Date = Annotated[
    datetime.date,
    BeforeValidator(_read_date),
    WithJsonSchema({"type": "string", "format": "date", "examples": ["2026-03-02"]}),
]


@dataclass(frozen=True)
class _Counted:
    """A range of whole numbers, checked where one is read and told where a schema is made."""

    at_least: int
    at_most: int
    example: int

    def _check(self, value: int) -> int:
        if not self.at_least <= value <= self.at_most:
            raise OutOfRange(f"it must be from {self.at_least} to {self.at_most}")
        return value

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_after_validator_function(self._check, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {**handler(schema), "minimum": self.at_least, "maximum": self.at_most, "examples": [self.example]}


def counted(*, at_least: int, at_most: int, example: int) -> _Counted:
    """A range check for whole numbers: `Annotated[Whole, counted(at_least=1, at_most=8, example=4)]`."""
    return _Counted(at_least, at_most, example)


ScopeChannel = Annotated[Whole, counted(at_least=1, at_most=8, example=1)]
GeneratorOutput = Annotated[Whole, counted(at_least=1, at_most=2, example=1)]
RelayNumber = Annotated[Whole, counted(at_least=1, at_most=99_999, example=101)]
ScanChannel = Annotated[Whole, counted(at_least=1, at_most=99_999, example=101)]


def worded(pattern: str, wanted: str, *, longest: int) -> BeforeValidator:
    """A check for text: `wanted` says in words what `pattern` allows."""
    compiled = re.compile(pattern)

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError(f"{describe(value)} is written where {wanted} belongs")
        text = str.__str__(value).strip()
        if not text or len(text) > longest or not compiled.fullmatch(text):
            raise ValueError(f"{describe(value)} is not accepted; {wanted} is wanted, of at most {longest} characters")
        return text

    return BeforeValidator(check)


def _shown(example: str) -> WithJsonSchema:
    """Of a text. YAML takes some for numbers, or for yes and no, where a document takes every scalar as it stands."""
    return WithJsonSchema({"type": ["string", "number", "boolean"], "examples": [example]})


_ONE_LINE = r"[^\x00-\x1f\x7f-\x9f\u2028\u2029]+"  # letters of any script, and nothing that ends a line
Line = Annotated[str, worded(_ONE_LINE, "a line of text", longest=200), _shown("Bench 2 of the workshop")]
Prose = Annotated[
    str, worded(r"(?s)[^\x00-\x09\x0b-\x1f\x7f-\x9f]+", "a text", longest=4000), _shown("What the amplifier delivers.")
]
# What figures and sequences call several channels, or none.
_NO_CHANNEL = frozenset({"total", "all", "each", "none"})


def _not_reserved(name: str) -> str:
    if name.lower() in _NO_CHANNEL:
        raise ValueError(
            f"{quote(name)} cannot be a channel's name, for it means several or none; write for example 'A'"
        )
    return name


# A channel's name is printed in tables, file names and pages.
ChannelName = Annotated[
    str,
    worded(r"[A-Za-z0-9][A-Za-z0-9 _+-]*", "a name of letters and digits", longest=20),
    AfterValidator(_not_reserved),
    _shown("A"),
]
# A place at which a multimeter measures; it is printed where a channel's name is.
PointName = Annotated[
    str,
    worded(r"[A-Za-z0-9][A-Za-z0-9 _+-]*", "a name of letters and digits", longest=30),
    AfterValidator(_not_reserved),
    _shown("bias A"),
]
# A wired signal by the name that its trace has in a record; the clamp has a place of its own.
SignalName = Annotated[
    str,
    worded(
        r"output [A-Za-z0-9][A-Za-z0-9 _+-]*|supply voltage",
        "'supply voltage' or an output such as 'output A'",
        longest=27,
    ),
    _shown("output A"),
]
# A file beside this one.
FileName = Annotated[
    str,
    worded(_ONE_LINE, "the name of a file beside this one such as 'calibration.yaml'", longest=200),
    _shown("calibration.yaml"),
]
# Of a picture; without a folder, for a run keeps it under its own name among its inputs.
PictureName = Annotated[
    str,
    worded(
        r"(?i)[^\x00-\x1f\x7f-\x9f\u2028\u2029/\\]+\.(png|jpe?g|webp|avif|tiff?|bmp|gif)",
        "the name of a picture beside this file such as 'logo.png' or 'logo.jpg'",
        longest=100,
    ),
    _shown("logo.png"),
]
# What a file may say that nothing watches.
Unwatched = Annotated[
    str,
    worded(
        r"heatsink|ambient|load|output [A-Za-z0-9][A-Za-z0-9 _+-]*",
        "'heatsink', 'ambient', 'load' or an output such as 'output B'",
        longest=27,
    ),
    _shown("heatsink"),
]
Pair = Annotated[tuple[ChannelName, ...], Len(2, 2)]
_SMALL = worded(r"[a-z][a-z0-9_]*", "a name of small letters and digits", longest=20)
SensorName = Annotated[str, _SMALL, _shown("heatsink")]
OutputName = Annotated[str, _SMALL, _shown("remote")]
# What a driver file calls a range; it is put into a command.
RangeWord = Annotated[str, worded(r"[A-Za-z0-9_]+", "a word of letters and digits", longest=20), _shown("CRL")]
AmplifierClass = Literal["A", "AB", "B", "D", "G", "H"]
Outputs = Literal["grounded", "floating"]
ParameterName = Annotated[str, worded(r"[a-z][a-z0-9_]*", "a name of small letters, digits and _", longest=40)]
DriverName = Annotated[
    str,
    worded(_ONE_LINE, "a shipped driver such as 'supply/scpi99' or a file such as './mine.yaml'", longest=200),
    WithJsonSchema({"type": "string", "examples": ["supply/scpi99", "./mine.yaml"]}),
]


def _read_address(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{describe(value)} is written where a VISA address belongs")
    if len(value) > _LONGEST_ADDRESS:
        raise ValueError(f"{describe(value)} is too long for an address; write at most {_LONGEST_ADDRESS} characters")
    return parse_address(str.__str__(value)).text


_LONGEST_ADDRESS = 200
Address = Annotated[
    str,
    BeforeValidator(_read_address),
    WithJsonSchema({"type": "string", "examples": ["TCPIP::192.168.1.20::5025::SOCKET"]}),
]


def reading_as(parse: Callable[[str], Any]) -> BeforeValidator:
    """Lets a type of ours be written as text; `parse` raises ValueError with a sentence."""

    def read(value: Any) -> Any:
        if isinstance(value, dict | list):
            raise ValueError(f"{describe(value)} is written where one entry belongs")
        return parse(value) if isinstance(value, str) else value

    return BeforeValidator(read)
