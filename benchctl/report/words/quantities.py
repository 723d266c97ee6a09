"""Values as people read them: a prefix where the unit takes one, and no more digits than the uncertainty supports.

The headline and texts say a value alone (159 W, 85.8 µV); tables say it with its uncertainty (159.5 ± 2.6 W). A bound
is rounded away from what was seen, so that the text never claims more than the figure.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from benchctl.measure.budget.figure import Bound, Figure
from benchctl.measure.budget.words import as_said, rounded, unit_in_words
from benchctl.quantity import render

# Of a value without an uncertainty; the least and the most of one that has an uncertainty.
_DIGITS, _LEAST_DIGITS, _MOST_DIGITS = 3, 2, 4
_PREFIXES: Mapping[int, str] = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
_TAKES_PREFIX = frozenset({"V", "A", "ohm", "Hz", "W", "F", "H", "J", "s"})
_SPELLED: Mapping[str, str] = {"degC": "°C", "V/s": "V/µs", "V/us": "V/µs"}
_MICRO = re.compile(r"(?<=\d )u(?=[VAFHJs]\b|ohm\b)")
_KILOWATTS_FROM_W = 10e3  # the trade says 1500 W
_MINUTES_FROM_S, _HOURS_FROM_S = 90.0, 5400.0
_ROUNDINGS: Mapping[Bound, str] = {"": ROUND_HALF_EVEN, "at least": ROUND_FLOOR, "at most": ROUND_CEILING}
_SIGNS: Mapping[Bound, str] = {"": "", "at least": "≥ ", "at most": "≤ "}


@dataclass(frozen=True)
class Scale:
    """A unit to say values in, and how many base units one of it is."""

    unit: str
    one: float = 1.0


def said(figure: Figure) -> str:
    """A figure's value with its unit, as in a sentence: 159 W, at least 140 W, 85.8 µV, -82 dB, 61 %."""
    value, uncertainty, unit = _in_base(figure)
    return spoken(value, unit, uncertainty, bound=figure.bound)


def spoken(value: float, unit: str, uncertainty: float = 0.0, *, bound: Bound = "") -> str:
    """A value with its unit, rounded where its uncertainty begins; of a bound, on its safe side."""
    scale = scale_for([value if abs(value) > uncertainty else uncertainty], unit)
    text = _rounded(value / scale.one, uncertainty / scale.one, bound)
    if abs(float(text)) >= 1000.0:  # 999.7 mV is 1 V
        scale = scale_for([float(text) * scale.one], unit)
        text = _rounded(value / scale.one, uncertainty / scale.one, bound)
    return f"{bound} {text} {scale.unit}".strip()


def shown(value: float, unit: str, *, digits: int = 4) -> str:
    """A reading or a setting to so many digits, with the signs of print: 91.5 µA, 85 °C."""
    return in_signs(render(value, unit, digits=digits))


def in_signs(text: str) -> str:
    """A text of this program's quantities, with the signs of print for those of its documents."""
    return _MICRO.sub("µ", text.replace(" degC", " °C"))


def stated(figure: Figure) -> str:
    """A value that is given exactly, such as a bound that was asked for: 50 mV, -60 dB, 59 min."""
    value, _, unit = _in_base(figure)
    return setting(value, unit)


def stated_ratio(ratio: float) -> str:
    """A ratio of voltages that is given exactly, in decibels: 30 dB."""
    return f"{20.0 * math.log10(ratio):.4g} dB"


def setting(value: float, unit: str) -> str:
    """A value that was set or stated, without an uncertainty: 4 ohm, 1 kHz, 14.4 V, 5 min."""
    if unit == "1":
        return f"{100.0 * value:.4g} %"
    scale = scale_for([value], unit)
    return f"{value / scale.one:.4g} {scale.unit}".rstrip()


def as_part(value: float, whole: float, bound: Bound = "") -> str:
    """A value as a part of another: 106 %, at least 93 %. What is less than the whole is not said to be all."""
    exact = Decimal(repr(100.0 * value / whole))
    percent = exact.quantize(Decimal(1), rounding=_ROUNDINGS[bound])
    if exact < 100 <= percent and bound != "at most":
        percent = exact.quantize(Decimal("0.1"), rounding=ROUND_FLOOR)
    return f"{bound} {percent} %".lstrip()


def in_one_unit(figures: Iterable[Figure]) -> tuple[list[str], str]:
    """The values of several figures of one name with their uncertainties, and the unit that all of them are said in."""
    found = [(figure, *_in_base(figure)) for figure in figures]
    unit = found[0][3] if found else ""
    scale = scale_for([max(abs(value), uncertainty) for _, value, uncertainty, _ in found], unit)
    texts = [
        _with_uncertainty(value / scale.one, uncertainty / scale.one, figure.bound)
        for figure, value, uncertainty, _ in found
    ]
    return texts, scale.unit


def with_uncertainty(figure: Figure) -> str:
    """A value with its uncertainty and unit: 159.5 ± 2.6 W, ≥ 140 W."""
    (text,), unit = in_one_unit([figure])
    return f"{text} {unit}".rstrip()


def scale_for(values: Iterable[float], unit: str) -> Scale:
    """The unit in which the largest of these values is best said."""
    largest = max((abs(value) for value in values), default=0.0)
    if unit == "s" and largest >= _MINUTES_FROM_S:
        return Scale("h", 3600.0) if largest >= _HOURS_FROM_S else Scale("min", 60.0)
    if unit in {"V/s", "V/us"}:
        return Scale("V/µs", 1e6 if unit == "V/s" else 1.0)
    if unit not in _TAKES_PREFIX or largest == 0.0 or (unit == "W" and 1.0 <= largest < _KILOWATTS_FROM_W):
        return Scale(_SPELLED.get(unit, unit))
    power = min(max(3 * math.floor(math.log10(largest) / 3.0), min(_PREFIXES)), max(_PREFIXES))
    power = min(power, 0) if unit == "s" else power
    return Scale(_PREFIXES[power] + unit, 10.0**power)


def _in_base(figure: Figure) -> tuple[float, float, str]:
    """Value, uncertainty and unit: in base units where a prefix may be chosen, else as the trade says them."""
    uncertainty = figure.expanded_uncertainty or 0.0
    if figure.unit in _TAKES_PREFIX or figure.unit == "V/s":
        return figure.value, uncertainty, figure.unit
    return *as_said(figure), unit_in_words(figure)


def _rounded(value: float, uncertainty: float, bound: Bound) -> str:
    """To where the uncertainty begins, to three digits without one; to two at least and to four at most."""
    size = _place_of(value)
    if bound or not uncertainty:
        return _to_place(value, size - _DIGITS + 1, bound)
    begins = _begins(uncertainty)
    if abs(value) <= uncertainty:
        return _to_place(value, begins, bound)
    return _to_place(value, min(max(begins, size - _MOST_DIGITS + 1), size - _LEAST_DIGITS + 1), bound)


def _begins(uncertainty: float) -> int:
    """The place of its first digit; of the second, if the first is a one."""
    place = _place_of(uncertainty)
    return place - 1 if uncertainty < 2.0 * 10.0**place else place


def _with_uncertainty(value: float, uncertainty: float, bound: Bound) -> str:
    if bound:
        return _SIGNS[bound] + _to_place(value, _place_of(value) - _DIGITS + 1, bound)
    if uncertainty >= 100.0:  # whole places above the point
        place = _place_of(uncertainty) - 1
        return f"{_to_place(value, place, '')} ± {_to_place(uncertainty, place, '')}"
    return rounded(value, uncertainty) if uncertainty else f"{value:.4g}"


def _place_of(value: float) -> int:
    """The power of ten of its first digit."""
    return math.floor(math.log10(abs(value))) if value else 0


def _to_place(value: float, place: int, bound: Bound) -> str:
    """Whole places above the point keep their noughts: 160, not 1.6e2."""
    exact = Decimal(repr(value)).quantize(Decimal(1).scaleb(place), rounding=_ROUNDINGS[bound])
    return f"{exact:f}" if exact else f"{abs(exact):f}"
