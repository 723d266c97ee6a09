"""Levels as they are written: `500 mV` at the input, `1 W` into each load, `12.5 % rated`, `-10 dB clean`."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, WithJsonSchema

from benchctl.documents.model.fields import OutOfRange
from benchctl.documents.text.words import describe
from benchctl.errors import quote
from benchctl.quantity import QuantityError, parse_quantity, pattern_for, render

LevelKind = Literal["volts", "watts", "rated", "clean"]
# More than twice rated power, or ten times the clean voltage, is a slip.
MOST_RATED = 2.0
MOST_CLEAN = 10.0
# What the key `level` is, for the descriptions of the steps that have it.
LEVEL = (
    "how strongly to drive: V RMS of the generator, W into each load, part of rated power, or dB below the clean level"
)
_WRITTEN = "write for example '500 mV', '1 W', '12.5 % rated' or '-10 dB clean'"
_WAYS = ("500 mV", "1 W", "12.5 % rated", "-10 dB clean")


@dataclass(frozen=True)
class Level:
    """How strongly to drive: V rms of the generator, W into each load, a part of rated power, or a ratio of voltages to
    the clean level."""

    value: float
    of: LevelKind = "volts"

    def __str__(self) -> str:
        match self.of:
            case "volts":
                return render(self.value, "V")
            case "watts":
                return render(self.value, "W")
            case "rated":
                return f"{render(self.value, '1')} rated"
            case _:
                return f"{20.0 * math.log10(self.value):.4g} dB clean"


def parse_level(text: str) -> Level:
    """Read a level in one of its four forms.

    Raises:
        ValueError: it is in none of them; the message says what would be right.
    """
    figure, _, word = text.strip().rpartition(" ")
    match word:
        case "clean":
            return _ratio(_in_db(figure, text), "clean", MOST_CLEAN)
        case "rated":
            ratio = parse_quantity(figure, "1")
            return _ratio(ratio**2 if figure.endswith("dB") else ratio, "rated", MOST_RATED)
        case _ if text.rstrip().endswith("W"):
            return _positive(parse_quantity(text, "W"), "watts", "W")
        case _:
            return _positive(_volts(text), "volts", "V")


def _volts(text: str) -> float:
    try:
        return parse_quantity(text, "V")
    except QuantityError:
        raise ValueError(f"{describe(text)} is no level; {_WRITTEN}") from None


def _in_db(figure: str, text: str) -> float:
    if not figure.endswith("dB"):
        raise ValueError(f"{quote(text)}: how far below the clean level is told in dB, such as '-10 dB clean'")
    return parse_quantity(figure, "1")


def _ratio(value: float, of: LevelKind, most: float) -> Level:
    if not 0.0 < value <= most:
        highest = f"{20.0 * math.log10(most):.3g} dB" if of == "clean" else f"{most * 100:g} %"
        raise OutOfRange(f"it must be more than nothing and at most {highest}")
    return Level(value, of)


def _positive(value: float, of: LevelKind, unit: str) -> Level:
    if value <= 0.0:
        raise OutOfRange(f"it must be more than {render(0.0, unit)}")
    return Level(value, of)


def _read(value: Any) -> Any:
    """A text as a document has it; a level that Python code gives passes."""
    if isinstance(value, Level):
        return value
    if not isinstance(value, str):
        raise ValueError(f"{describe(value)} stands where a level belongs; {_WRITTEN}")
    return parse_level(value)


def _pattern() -> str:
    forms = [pattern_for(unit).removeprefix("^").removesuffix("$") for unit in ("V", "W")]
    number = r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?"
    return f"^({'|'.join(forms)}|{number} ?(%|dB) rated|{number} ?dB clean)$"


DriveLevel = Annotated[
    Level,
    BeforeValidator(_read),
    WithJsonSchema({"type": "string", "pattern": _pattern(), "examples": list(_WAYS)}),
]
