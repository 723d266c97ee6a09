"""Types of parameters: each turns what was written into a value, or raises the error number the standard gives.

A parameter is read in two steps. `read` depends on the text alone, so its result can be kept with the message;
`settle` runs at each execution and knows the limits of the moment.
"""

from __future__ import annotations

import math
import re
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Any

from benchctl.scpi.errors import ScpiError
from benchctl.scpi.mnemonics import forms_of, short_of
from benchctl.scpi.number_list import NumberList
from benchctl.scpi.scanner import Datum, Kind
from benchctl.scpi.units import check_unit, factor_of

Limit = float | Callable[[], float]

# The error when a type of data is written where it is not allowed (SCPI-99 21.8.9).
_NOT_ALLOWED = {Kind.NUMBER: -128, Kind.WORD: -148, Kind.STRING: -158, Kind.BLOCK: -168, Kind.EXPRESSION: -178}

_NUMBER_OR_RANGE = re.compile(r"\s*([+-]?\d{1,9})\s*(?::\s*([+-]?\d{1,9})\s*)?", re.ASCII)


class Parameter(ABC):
    """One place behind a header.

    Args:
        optional: may be left out; its value is None then.
        repeats: the last parameter of a command may be given any number of times, at least once.
    """

    def __init__(self, *, optional: bool = False, repeats: bool = False) -> None:
        self.optional = optional
        self.repeats = repeats

    @abstractmethod
    def read(self, datum: Datum) -> Any:
        """What `datum` says, from its text alone. Raises ScpiError (command errors, and -224)."""

    def settle(self, reading: Any) -> Any:
        """The value for this execution. Raises ScpiError (execution errors)."""
        return reading

    def _take(self, datum: Datum, kind: Kind) -> str:
        if datum.kind is not kind:
            raise ScpiError(_NOT_ALLOWED[datum.kind], datum.text[:40])
        return datum.text


_SPECIAL = {
    word: short_of(spelling)
    for spelling in ("MINimum", "MAXimum", "DEFault", "INFinity", "NINFinity")
    for word in forms_of(spelling)
} | {"NINF": "NINF"}


class Numeric(Parameter):
    """A number, with the suffixes of `unit` ("V", "A", "OHM", "HZ", "S", "CEL", ... or "" for none).

    MINimum, MAXimum and DEFault stand for the limits, both in commands and in queries (`VOLT? MAX`). A limit may be a
    function, for ranges that depend on the instrument's state.

    Args:
        whole: round to an integer (IEEE 488.2 rounds numbers meant for integers); the value is an int.
        infinite: INFinity and NINFinity are allowed.
    """

    def __init__(
        self,
        unit: str = "",
        minimum: Limit | None = None,
        maximum: Limit | None = None,
        default: Limit | None = None,
        *,
        whole: bool = False,
        infinite: bool = False,
        optional: bool = False,
        repeats: bool = False,
    ) -> None:
        super().__init__(optional=optional, repeats=repeats)
        check_unit(unit)
        self._unit = unit
        self._limits = {"MIN": minimum, "MAX": maximum, "DEF": default}
        self._whole = whole
        self._infinite = infinite

    @property
    def has_limits(self) -> bool:
        """Whether MINimum, MAXimum or DEFault mean something here."""
        return any(limit is not None for limit in self._limits.values())

    def read(self, datum: Datum) -> float | str:
        """The number in base units, or the word for a limit."""
        if datum.kind is Kind.WORD:
            return self._read_word(datum.text)
        if datum.kind is not Kind.NUMBER:
            raise ScpiError(_NOT_ALLOWED[datum.kind], datum.text[:40])
        value = datum.value * factor_of(datum.text, self._unit)
        if not math.isfinite(value):
            raise ScpiError(-222, "beyond every range")
        return value

    def settle(self, reading: float | str) -> float | int:
        """The number, checked against the limits of the moment."""
        value = self.limit(reading) if isinstance(reading, str) else reading
        if math.isinf(value):
            return value
        if self._whole:
            value = math.floor(value + 0.5)
        self._check(value)
        return value

    def limit(self, word: str) -> float:
        """What MIN, MAX, DEF, INF or NINF stands for now."""
        if word in ("INF", "NINF"):
            return math.inf if word == "INF" else -math.inf
        limit = self._limits[word]
        if limit is None:
            raise ScpiError(-224, word)
        return limit() if callable(limit) else limit

    def _read_word(self, text: str) -> str:
        word = _SPECIAL.get(text)
        if word is None or (word in ("INF", "NINF") and not self._infinite):
            raise ScpiError(-141, text)
        if word in self._limits and self._limits[word] is None:
            raise ScpiError(-141, text)
        return word

    def _check(self, value: float) -> None:
        minimum, maximum = self._limits["MIN"], self._limits["MAX"]
        if minimum is not None and value < (minimum() if callable(minimum) else minimum):
            raise ScpiError(-222, f"{value:.9g} is below the minimum")
        if maximum is not None and value > (maximum() if callable(maximum) else maximum):
            raise ScpiError(-222, f"{value:.9g} is above the maximum")


class LimitWord(Parameter):
    """MINimum, MAXimum or DEFault behind a query: the value is that limit of `numeric`."""

    def __init__(self, numeric: Numeric) -> None:
        super().__init__(optional=True)
        self._numeric = numeric

    def read(self, datum: Datum) -> float | str:
        """The word for a limit; a number behind such a query is not allowed."""
        self._take(datum, Kind.WORD)
        return self._numeric.read(datum)

    def settle(self, reading: str) -> float:
        """The limit as it is now."""
        return self._numeric.limit(reading)


class Boolean(Parameter):
    """ON, OFF or a number, which is rounded: 0 is off, anything else on (SCPI-99 volume 1, 7.3)."""

    def read(self, datum: Datum) -> bool:
        """True for on."""
        if datum.kind is Kind.NUMBER:
            factor_of(datum.text, "")
            return math.floor(abs(datum.value) + 0.5) != 0 if math.isfinite(datum.value) else True
        word = self._take(datum, Kind.WORD)
        if word not in ("ON", "OFF"):
            raise ScpiError(-224, word)
        return word == "ON"


class Mnemonic(Parameter):
    """One of several words, each with short and long form; the value is the short form, which a query answers too."""

    def __init__(self, *spellings: str, optional: bool = False, repeats: bool = False) -> None:
        super().__init__(optional=optional, repeats=repeats)
        self._words = {form: short_of(spelling) for spelling in spellings for form in forms_of(spelling)}

    def read(self, datum: Datum) -> str:
        """The short form of the word."""
        word = self._words.get(self._take(datum, Kind.WORD))
        if word is None:
            raise ScpiError(-224, datum.text)
        return word


class ChannelList(Parameter):
    """`(@101,102,105:107)` of channels among `channels`; the value is a tuple of integers in the order written."""

    def __init__(self, channels: range | tuple[int, ...], *, longest: int = 256, optional: bool = False) -> None:
        super().__init__(optional=optional)
        self._channels = channels
        self._longest = longest

    def read(self, datum: Datum) -> tuple[int, ...]:
        """The channels named."""
        text = self._take(datum, Kind.EXPRESSION).strip()
        if not text.startswith("@"):
            raise ScpiError(-171, text[:40])
        found: list[int] = []
        for entry in text[1:].split(","):
            found.extend(self._entry(entry))
            if len(found) > self._longest:
                raise ScpiError(-223, f"more than {self._longest} channels")
        return tuple(found)

    def _entry(self, entry: str) -> tuple[int, ...]:
        first, colon, last = (part.strip() for part in entry.partition(":"))
        ends = (first, last) if colon else (first,)
        if not all(end.isascii() and end.isdigit() and len(end) <= 9 for end in ends):
            raise ScpiError(-171, entry[:40])
        return self._span(int(first), int(ends[-1]))

    def _span(self, first: int, last: int) -> tuple[int, ...]:
        """The channels from `first` to `last`, up or down; both ends must exist, gaps between them are allowed."""
        for channel in (first, last):
            if channel not in self._channels:
                raise ScpiError(-222, f"no channel {channel}")
        low, high = min(first, last), max(first, last)
        span = [channel for channel in self._channels if low <= channel <= high]
        return tuple(sorted(span, reverse=first > last))


class NumericList(Parameter):
    """`(-113,-299:-200)`: whole numbers and ranges of them among `numbers`; the value is a NumberList, maybe empty."""

    def __init__(self, numbers: range, *, longest: int = 256) -> None:
        super().__init__()
        self._numbers = numbers
        self._longest = longest

    def read(self, datum: Datum) -> NumberList:
        """The numbers listed."""
        text = self._take(datum, Kind.EXPRESSION).strip()
        entries = text.split(",") if text else []
        if len(entries) > self._longest:
            raise ScpiError(-223, f"more than {self._longest} numbers and ranges")
        return NumberList.of(self._range(entry) for entry in entries)

    def _range(self, entry: str) -> tuple[int, int]:
        found = _NUMBER_OR_RANGE.fullmatch(entry)
        if found is None:
            raise ScpiError(-171, entry[:40])
        first = int(found[1])
        last = int(found[2]) if found[2] else first
        for number in (first, last):
            if number not in self._numbers:
                raise ScpiError(-222, f"no number {number}")
        return min(first, last), max(first, last)
