"""How an answer is taken: which part of it counts, which words mean yes and no, and in which unit its number is.

A driver file gives the form of each answer. The guardian takes answers in the same way, so this module needs nothing
but the standard library.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from benchctl.scpi.errors import FormatError
from benchctl.scpi.numbers import NumberError, parse_number

Base = Literal["decimal", "hex", "binary", "byte"]
Quantity = Literal["", "V", "A", "Hz", "s", "ohm", "C", "W", "percent", "dB"]

# What instruments answer in place of a reading (common practice), besides the numbers of SCPI-99.
NO_READING = ("OL", "OVLD", "----")
YES = ("1", "ON")
NO = ("0", "OFF")
SEPARATORS = (",", ";")

_LEADING_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)", re.ASCII | re.DOTALL)


def _scaled(factor: float) -> Callable[[float], float]:
    return lambda value: value * factor


def _platinum(ohm_at_zero: float) -> Callable[[float], float]:
    """Degrees from the resistance of a platinum sensor (IEC 60751: Callendar and Van Dusen, above 0 degC).

    Below 0 degC the term that is left out is less than 0.05 K down to -30 degC.
    """
    a, b = 3.9083e-3, -5.775e-7

    def degrees(ohm: float) -> float:
        inside = a * a - 4 * b * (1 - ohm / ohm_at_zero)
        return (-a + math.sqrt(inside)) / (2 * b) if inside >= 0 else math.nan

    return degrees


@dataclass(frozen=True)
class Unit:
    """A unit that an instrument may answer in.

    Attributes:
        quantity: the base unit that its numbers become.
        to_base: turns a number of it into the base unit.
    """

    quantity: Quantity
    to_base: Callable[[float], float]


# As a driver file writes them; `vpp` and `vpeak` are those of a sine.
UNITS: Mapping[str, Unit] = {
    "V": Unit("V", _scaled(1.0)),
    "mV": Unit("V", _scaled(1e-3)),
    "uV": Unit("V", _scaled(1e-6)),
    "vpp": Unit("V", _scaled(1 / (2 * math.sqrt(2)))),
    "mvpp": Unit("V", _scaled(1e-3 / (2 * math.sqrt(2)))),
    "vpeak": Unit("V", _scaled(1 / math.sqrt(2))),
    "vrms": Unit("V", _scaled(1.0)),
    "mvrms": Unit("V", _scaled(1e-3)),
    "dBV": Unit("V", lambda value: 10.0 ** (value / 20)),
    "A": Unit("A", _scaled(1.0)),
    "mA": Unit("A", _scaled(1e-3)),
    "uA": Unit("A", _scaled(1e-6)),
    "s a cycle": Unit("Hz", lambda value: 1 / value if value else math.inf),
    "ms a cycle": Unit("Hz", lambda value: 1e3 / value if value else math.inf),
    "us a cycle": Unit("Hz", lambda value: 1e6 / value if value else math.inf),
    "Hz": Unit("Hz", _scaled(1.0)),
    "kHz": Unit("Hz", _scaled(1e3)),
    "MHz": Unit("Hz", _scaled(1e6)),
    "s": Unit("s", _scaled(1.0)),
    "ms": Unit("s", _scaled(1e-3)),
    "us": Unit("s", _scaled(1e-6)),
    "ns": Unit("s", _scaled(1e-9)),
    "ohm": Unit("ohm", _scaled(1.0)),
    "kohm": Unit("ohm", _scaled(1e3)),
    "mohm": Unit("ohm", _scaled(1e-3)),
    "W": Unit("W", _scaled(1.0)),
    "C": Unit("C", _scaled(1.0)),
    "K": Unit("C", lambda value: value - 273.15),
    "F": Unit("C", lambda value: (value - 32.0) / 1.8),
    "pt100": Unit("C", _platinum(100.0)),
    "pt1000": Unit("C", _platinum(1000.0)),
}
_BY_SPELLING = {spelling.upper(): unit for spelling, unit in UNITS.items() if spelling not in {"mohm", "MHz"}} | {
    "MHZ": UNITS["MHz"],
    "OHMS": UNITS["ohm"],
    "SEC": UNITS["s"],
    "CEL": UNITS["C"],
    "DEGC": UNITS["C"],
    "DEGF": UNITS["F"],
    "VDC": UNITS["V"],
    "VAC": UNITS["V"],
    "ADC": UNITS["A"],
}


@dataclass(frozen=True)
class AnswerForm:
    """How one value is taken out of one answer.

    Attributes:
        quantity: the base unit of the value; '' for a number without a unit.
        header: whether the answer begins with a word that does not count.
        separators: what stands between two fields.
        field: the field that counts, from 1; None: the whole answer.
        fields: how many fields the answer must have; None: any number.
        after: the value is the field behind this word; `=` and `:` part words too.
        columns: the value stands in these letters, from 1, the last one included.
        base: how the number is written.
        bits: the value is 1 if one of these bits is set, else 0; the lowest bit is 0.
        yes, no: answers that mean so; an answer that is a number may be written in any way.
        other: what any other answer means; None: any other answer is an error.
        unit: the unit of the number, unless its answer names one; '' is the base unit.
        times, plus: the number is multiplied, then this is added.
        no_reading: further answers that stand for no reading.
        among: the answer is a list of numbers, such as `(@101,103)`; it means yes if it holds one of these.
    """

    quantity: Quantity = ""
    header: bool = False
    separators: tuple[str, ...] = SEPARATORS
    field: int | None = None
    fields: int | None = None
    after: str = ""
    columns: tuple[int, int] | None = None
    base: Base = "decimal"
    bits: tuple[int, ...] = ()
    yes: tuple[str, ...] = YES
    no: tuple[str, ...] = NO
    other: bool | None = None
    unit: str = ""
    times: float = 1.0
    plus: float = 0.0
    no_reading: tuple[str, ...] = ()
    among: tuple[int, ...] = ()

    def number(self, answer: str) -> float:
        """The number in the answer, in its base unit; nan or infinite where the instrument had no reading.

        Raises:
            FormatError: there is none, or it is in the unit of another quantity.
        """
        text = self.picked(answer)
        if self._means_no_reading(text):
            return math.nan
        if self.base != "decimal" or self.bits:
            return self._with_scale(float(self._code(text)))
        number, unit = self._with_unit(text)
        return self._with_scale(number if unit is None else unit.to_base(number))

    def truth(self, answer: str) -> bool:
        """Whether the answer means yes.

        Raises:
            FormatError: it means neither yes nor no.
        """
        text = self.picked(answer)
        if self.among:
            return not listed_numbers(text).isdisjoint(self.among)
        if self.bits or self.base != "decimal":
            text = str(self._code(text))
        if _is_one_of(text, self.no):
            return False
        if _is_one_of(text, self.yes):
            return True
        if self.other is not None:
            return self.other
        raise NumberError(f"{text[:80]!r} means neither yes nor no here: yes is {_or(self.yes)}, no is {_or(self.no)}")

    def means_no(self, answer: str) -> bool:
        """Whether the answer is one that is known to mean no; whatever cannot be read does not."""
        try:
            text = self.picked(answer)
            if self.among:
                return listed_numbers(text).isdisjoint(self.among)
            return _is_one_of(str(self._code(text)) if self.bits or self.base != "decimal" else text, self.no)
        except FormatError:
            return False

    def truths(self, answer: str, count: int) -> list[bool]:
        """What each field of the answer means.

        Raises:
            FormatError: one of them means neither yes nor no, or there are more or fewer than `count`.
        """
        fields = self.split(answer)
        if len(fields) != count:
            raise NumberError(f"{answer[:80]!r} holds {len(fields)} states and must hold {count}")
        return [self._of_one_field.truth(field) for field in fields]

    def all_mean_no(self, answer: str, count: int) -> bool:
        """Whether the answer has `count` fields and each is known to mean no."""
        if count == 1:
            return self.means_no(answer)
        try:
            fields = self.split(answer)
        except FormatError:
            return False
        return len(fields) == count and all(self._of_one_field.means_no(field) for field in fields)

    def states(self, answer: str) -> list[bool]:
        """What each field of the answer means, where any number but 0 means yes: a register has a bit for each cause.

        Raises:
            FormatError: one of them means neither.
        """
        is_picked = self.field is not None or bool(self.after) or self.columns is not None
        fields = [self.picked(answer)] if is_picked else self.split(answer)
        return [self._of_one_field.state(field) for field in fields]

    def state(self, text: str) -> bool:
        """What one field means, where any number but 0 means yes."""
        try:
            return self.truth(text)
        except FormatError:
            number = parse_number(text)
            if not math.isfinite(number) or (self.yes, self.no) != (YES, NO):
                raise
            return number != 0.0

    @property
    def _of_one_field(self) -> AnswerForm:
        """How a field is taken that was picked already."""
        return replace(self, header=False, field=None, fields=None, after="", columns=None)

    def split(self, answer: str) -> list[str]:
        """The fields of an answer, without its header."""
        text = self._without_header(answer)
        for separator in self.separators[1:]:
            text = text.replace(separator, self.separators[0])
        fields = text.split() if self.separators[0] == " " else text.split(self.separators[0])
        return [field.strip() for field in fields]

    def picked(self, answer: str) -> str:
        """The part of the answer that counts.

        Raises:
            FormatError: it has no such part.
        """
        if self.fields is not None and (found := len(self.split(answer))) != self.fields:
            raise NumberError(f"{answer[:80]!r} holds {found} values and must hold {self.fields}")
        if self.base == "byte" and len(answer) == 1:
            return answer
        if self.columns is not None:
            text = self._in_columns(answer)
        elif self.after:
            text = self._behind_word(answer)
        elif self.field is not None:
            text = self._in_field(answer)
        else:
            text = self._without_header(answer).strip()
        return text

    def _in_columns(self, answer: str) -> str:
        first, last = self.columns or (1, len(answer))
        text = self._without_header(answer)
        if len(text) < last:
            raise NumberError(f"{answer[:80]!r} has no letter {last}")
        return text[first - 1 : last].strip()

    def _in_field(self, answer: str) -> str:
        fields, number = self.split(answer), self.field or 1
        if not 1 <= number <= len(fields):
            raise NumberError(f"{answer[:80]!r} has no field {number}")
        return fields[number - 1]

    def _behind_word(self, answer: str) -> str:
        words = [word for field in self.split(answer) for word in re.split(r"[=:\s]+", field) if word]
        for word, following in pairwise(words):
            if word.upper() == self.after.upper():
                return following
        raise NumberError(f"{answer[:80]!r} does not have {self.after} with a value behind it")

    def _without_header(self, answer: str) -> str:
        if not self.header:
            return answer
        _, _, rest = answer.strip().partition(" ")
        if not rest:
            raise NumberError(f"{answer[:80]!r} does not begin with a header and a space")
        return rest

    def _code(self, text: str) -> int:
        code = _CODES[self.base](text)
        return code if not self.bits else int(any(code >> bit & 1 for bit in self.bits))

    def _means_no_reading(self, text: str) -> bool:
        return text.upper() in NO_READING or _is_one_of(text, self.no_reading)

    def _with_unit(self, text: str) -> tuple[float, Unit | None]:
        """The number and the unit that it is in, read from the answer if it names one."""
        own = UNITS.get(self.unit)
        try:
            return parse_number(text), own
        except FormatError:
            match = _LEADING_NUMBER.fullmatch(text)
            named = match and (UNITS.get(match.group(2)) or _BY_SPELLING.get(match.group(2).upper()))
            if match is None or named is None:
                raise
        if self.quantity and named.quantity != self.quantity:
            raise NumberError(f"{text[:80]!r} is in {match.group(2)}, and {self.quantity} is wanted")
        # 2 V with `unit: vpp` are volts peak to peak.
        is_same = own is not None and own.quantity == named.quantity and named is UNITS[own.quantity]
        return parse_number(match.group(1)), own if is_same else named

    def _with_scale(self, value: float) -> float:
        return value * self.times + self.plus


_ENTRY = r"\d+(?:\s*:\s*\d+)?"
_ENTRIES = rf"{_ENTRY}(?:(?:\s*,\s*|\s+){_ENTRY})*"
# Without its last bracket a list may have been cut short, and nothing at all is no list.
_LIST = re.compile(rf"\(@?\s*(?:{_ENTRIES})?\s*\)|{_ENTRIES}", re.ASCII)


def listed_numbers(text: str) -> frozenset[int]:
    """The numbers of a list: `(@101,103:105)`, `101,103`, `(@)` for none.

    Raises:
        NumberError: it is no such list.
    """
    written = text.strip().strip('"').strip()
    if _LIST.fullmatch(written) is None:
        raise NumberError(f"{text[:80]!r} is not a list of numbers, such as (@101,103)")
    spans = re.findall(r"(\d+)(?:\s*:\s*(\d+))?", written)
    ends = [(int(first), int(last or first)) for first, last in spans]
    if any(last - first > _LONGEST_SPAN for first, last in ends):
        raise NumberError(f"{text[:80]!r} is not a list of numbers that an instrument has")
    return frozenset(number for first, last in ends for number in range(first, last + 1))


_LONGEST_SPAN = 1000


def _decimal(text: str) -> int:
    value = parse_number(text)
    if not math.isfinite(value) or not value.is_integer():
        raise NumberError(f"{text[:80]!r} is not a whole number")
    return int(value)


def _in_base(base: int, prefixes: str) -> Callable[[str], int]:
    """Reads a whole number with or without a prefix, IEEE 488.2's (8.7.4 to 8.7.6: #H, #B) or 0x, 0b."""
    pattern = re.compile(rf"(?:{prefixes})?([0-9A-Fa-f]+)", re.IGNORECASE | re.ASCII)

    def read(text: str) -> int:
        match = pattern.fullmatch(text)
        try:
            return int(match.group(1) if match else text, base)
        except ValueError:
            raise NumberError(f"{text[:80]!r} is not a number in base {base}") from None

    return read


def _byte(text: str) -> int:
    """One character; those that cannot be printed come as escapes, such as backslash, x, 8, 5."""
    if re.fullmatch(r"\\x[0-9a-f]{2}", text):
        return int(text[2:], 16)
    if len(text) != 1:
        raise NumberError(f"{text[:80]!r} is not one byte")
    return ord(text)


_CODES: Mapping[Base, Callable[[str], int]] = {
    "decimal": _decimal,
    "hex": _in_base(16, "#H|0x"),
    "binary": _in_base(2, "#B|0b"),
    "byte": _byte,
}


def _is_one_of(text: str, words: tuple[str, ...]) -> bool:
    """Whether the text is one of the words: letters in any case, a number in any form."""
    return any(is_same_answer(text, word) for word in words)


def is_same_answer(answer: str, word: str) -> bool:
    """Whether an answer says the same as a word: letters in any case, quotes or not, a number in any form."""
    answer, word = answer.strip().strip("\"'").upper(), word.strip().upper()
    if answer == word:
        return True
    try:
        return parse_number(answer) == parse_number(word)
    except FormatError:
        return False


def _or(words: tuple[str, ...]) -> str:
    return " or ".join(words)
