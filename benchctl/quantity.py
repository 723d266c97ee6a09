"""Quantities with units: a strict grammar in front of quantiphy, which scales and renders.

quantiphy alone reads `30 min` as 0.03 in and `14,4 V` as 144 V and takes any unknown unit. So the grammar here is: one
number, one space or none, one known unit with one known prefix. `min`, `h`, `degC`, `K`, `%`, `dB`, `dBV` and the
compound units are whole: they take no prefix of their own. `4 Ω`, `45 °C`, `10 µs`, `1 KHz` and `1 MS/s` are read too,
as people type and paste them; the printed spelling is always the same.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache

from quantiphy import Quantity

from benchctl.errors import quote

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_LONGEST = 40  # characters: every digit of a double, and its unit
# The prefixes that a message offers for a unit; any prefix is read.
_OFFERED: Mapping[str, tuple[str, ...]] = {
    "V": ("V", "mV", "kV"),
    "A": ("A", "mA"),
    "ohm": ("ohm", "mohm", "kohm"),
    "Hz": ("Hz", "kHz", "MHz"),
    "s": ("s", "ms", "us"),
    "W": ("W", "mW", "kW"),
    "F": ("F", "mF", "uF"),
    "H": ("H", "mH", "uH"),
    "J": ("J", "kJ"),
    "Sa/s": ("Sa/s", "kSa/s", "MSa/s"),
}
_SCALABLE = frozenset(_OFFERED)
PREFIXES = ("p", "n", "u", "m", "k", "M", "G")
# Unicode signs that look like others, or that word processors use instead.
_SIGNS = str.maketrans(
    {
        "\N{OHM SIGN}": "Ω",
        "\N{MICRO SIGN}": "μ",
        "\N{DEGREE CELSIUS}": "°C",
        "\N{NO-BREAK SPACE}": " ",
        "\N{NARROW NO-BREAK SPACE}": " ",
        "\N{MINUS SIGN}": "-",
    }
)
_LOOK_ALIKE = (
    ("\N{OHM SIGN}", "Ω"),
    ("\N{MICRO SIGN}", "μ"),
    ("\N{DEGREE CELSIUS}", "°C"),
)  # the pattern of a schema lists these together
# Other spellings of units, after a prefix or alone -> the spelling used here.
_SPELLINGS: Mapping[str, str] = {"Ω": "ohm", "Ohm": "ohm", "ohms": "ohm", "Ohms": "ohm", "°C": "degC", "S/s": "Sa/s"}
# Prefixes that people type -> the correct prefix. The K of kelvin never comes before another unit.
_PREFIX_SPELLINGS: Mapping[str, str] = {"μ": "u", "K": "k"}
# After a plain number, such as the `10k` points of a memory.
_MULTIPLES: Mapping[str, float] = {"k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}


def _times(factor: float) -> Callable[[float], float]:
    return lambda number: number * factor


def _amplitude_ratio(decibels: float) -> float:
    return math.pow(10.0, decibels / 20.0)


# Base unit -> the whole units that are converted to it, each with its conversion.
_WHOLE: Mapping[str, Mapping[str, Callable[[float], float]]] = {
    # A plain number, such as a damping factor; the points of a memory may be `10k` or `1M`.
    "": {"": _times(1.0), **{letter: _times(factor) for letter, factor in _MULTIPLES.items()}},
    "V": {"dBV": _amplitude_ratio},
    "s": {"min": _times(60.0), "h": _times(3600.0)},
    "1": {"%": _times(0.01), "ppm": _times(1e-6), "dB": _amplitude_ratio},
    "dB/octave": {"dB/octave": _times(1.0)},
    "rad": {"deg": math.radians, "rad": _times(1.0)},
    "degC": {"degC": _times(1.0)},
    "K": {"K": _times(1.0)},
    "1/K": {"ppm/K": _times(1e-6), "%/K": _times(0.01)},
    "W/A": {"W/A": _times(1.0)},
    "W/V": {"W/V": _times(1.0)},
    "V/A": {"V/A": _times(1.0), "mV/A": _times(1e-3)},
    "V/s": {"V/s": _times(1.0), "V/ms": _times(1e3), "V/us": _times(1e6)},
    "K/s": {"K/s": _times(1.0), "K/min": _times(1.0 / 60.0)},
    "K/W": {"K/W": _times(1.0)},
    "J/K": {"J/K": _times(1.0), "kJ/K": _times(1e3)},
}


class QuantityError(ValueError):
    """The text is not a quantity of the unit asked for; the message says what would be right."""


def units_for(base_unit: str) -> tuple[str, ...]:
    """The units a reader may offer for `base_unit`, commonest first."""
    whole = tuple(_WHOLE.get(base_unit, {})) if base_unit else ("",)
    return (*_OFFERED.get(base_unit, ()), *whole)


def pattern_for(base_unit: str) -> str:
    """A regular expression (ECMA 262, as JSON Schema wants) that quantities of `base_unit` match and nothing else
    matches."""
    prefixed = {prefix + base_unit for prefix in ("", *PREFIXES)} if base_unit in _SCALABLE else set()
    units = prefixed | set(_WHOLE.get(base_unit, {}))
    spelled = sorted({spelling for unit in units for spelling in _spellings(unit, base_unit)})
    number = r"[+\u2212-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?"
    return f"^{number}[ \\u00a0\\u202f]?({'|'.join(re.escape(unit) for unit in spelled)})$"


def _spellings(unit: str, base_unit: str) -> Iterator[str]:
    """Every way to write `unit`, which is converted to `base_unit`."""
    head = unit.removesuffix(base_unit) if base_unit in _SCALABLE and unit.endswith(base_unit) else ""
    tail = unit.removeprefix(head)
    heads = [head, *(theirs for theirs, ours in _PREFIX_SPELLINGS.items() if ours == head)]
    tails = [tail, *(theirs for theirs, ours in _SPELLINGS.items() if ours == tail)]
    for spelled in (a + b for a in heads for b in tails):
        yield spelled
        yield from (spelled.replace(ours, sign) for sign, ours in _LOOK_ALIKE if ours in spelled)


def units_in_words(base_unit: str) -> str:
    """The units that a quantity may be written in, for a sentence."""
    if not base_unit:
        return "a plain number"
    *others, last = units_for(base_unit)
    return f"{', '.join(others)} or {last}" if others else last


@lru_cache(maxsize=4096)  # documents say the same few quantities again and again, and are read several times
def parse_quantity(text: str, base_unit: str) -> float:
    """Read `text` as a quantity of `base_unit` and return it as a float in that unit.

    A ratio (`base_unit` "1") is written in %, ppm or dB; decibels give the amplitude ratio 10^(dB/20). A plain number
    (`base_unit` "") has no unit.

    Raises:
        QuantityError: not a number, no unit, a unit of another kind, a decimal comma, or not finite.
    """
    stripped = text.translate(_SIGNS).strip()
    number = _NUMBER.match(stripped)
    if number is None or len(stripped) > _LONGEST:
        raise QuantityError(f"{quote(text)} is not a number with a unit; write for example '{example(base_unit)}'")
    rest = stripped[number.end() :]
    if rest.startswith(","):
        raise QuantityError(f"{quote(text)} has a decimal comma; write the number with a point")
    unit = _in_our_spelling(rest.removeprefix(" "), base_unit)
    if not unit and base_unit:
        raise QuantityError(
            f"{quote(text)} has no unit; give {units_in_words(base_unit)}, for example '{example(base_unit)}'"
        )
    value = _scale(number.group(), unit, base_unit)
    if value is None:
        raise QuantityError(f"{quote(text)}: {quote(unit)} is not accepted here; give {units_in_words(base_unit)}")
    if not math.isfinite(value):
        raise QuantityError(f"{quote(text)} is too large to be meant")
    return value


def _in_our_spelling(unit: str, base_unit: str) -> str:
    """`unit` in the spelling of the tables here; an unknown unit stays as it is."""
    for theirs, ours in _SPELLINGS.items():
        if unit.endswith(theirs) and ours == base_unit:
            unit = unit.removesuffix(theirs) + ours
            break
    if base_unit in _SCALABLE and unit[:1] in _PREFIX_SPELLINGS and unit[1:] == base_unit:
        return _PREFIX_SPELLINGS[unit[0]] + base_unit
    return unit


def _scale(number: str, unit: str, base_unit: str) -> float | None:
    """The value in `base_unit`, or None if `unit` cannot be converted."""
    whole = _WHOLE.get(base_unit, {}).get(unit)
    if whole is not None:
        try:
            return whole(float(number))
        except OverflowError:
            return math.inf
    if base_unit in _SCALABLE and unit in {base_unit, *(prefix + base_unit for prefix in PREFIXES)}:
        # quantiphy finds the prefix; the rest is already known to be a valid unit.
        return float(Quantity(f"{number} {unit}"))
    return None


def example(base_unit: str) -> str:
    """A quantity of `base_unit` as it would be written, for messages and schemas."""
    examples = {"V": "14.4 V", "A": "90 A", "ohm": "4 ohm", "Hz": "1 kHz", "s": "20 ms", "1": "1 %", "degC": "85 degC"}
    if not base_unit:
        return "100"
    return examples.get(base_unit, f"1 {units_for(base_unit)[0]}")


def render(value: float, unit: str, *, digits: int = 4) -> str:
    """`value` for a person: `digits` significant figures and a prefix where the unit takes one."""
    if not math.isfinite(value):
        return "unreadable"
    if unit == "1":
        return f"{value * 100:.{digits}g} %"
    if unit not in _SCALABLE or value == 0:
        return f"{value:.{digits}g} {unit}".rstrip()
    return _with_prefix(float(value), unit, digits)


@lru_cache(maxsize=4096)  # a page and its pictures show the same values several times
def _with_prefix(value: float, unit: str, digits: int) -> str:
    return str(Quantity(value, unit).render(prec=digits - 1, strip_zeros=True))


def clock_face(seconds: float) -> str:
    """A time of a run: h:mm:ss."""
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


_LONG_MIN = 200 * 60  # beyond the longest drive, 168 h, a length of time is told in days


def in_minutes(seconds: float) -> str:
    """A length of time for a person: 8 s, 2:05 min, 1:40 h, 12 days."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes}:{rest:02d} min"
    if minutes < _LONG_MIN:
        return f"{minutes // 60}:{minutes % 60:02d} h"
    return f"{minutes / (24 * 60):.0f} days"


def render_time(seconds: float, *, digits: int = 3) -> str:
    """The same with parts of a second: 80 ms, 5.21 s, 2:05 min."""
    return in_minutes(seconds) if seconds >= 60.0 else render(seconds, "s", digits=digits)
