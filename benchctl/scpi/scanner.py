"""Reads the text of a program message: headers and parameter data (IEEE 488.2 chapter 7).

The text is the message decoded as Latin-1, one character a byte, so that blocks keep their bytes.
"""

from __future__ import annotations

import re
from enum import Enum, auto
from typing import NamedTuple

from benchctl.scpi.blocks import BlockError, BlockHeader
from benchctl.scpi.errors import ScpiError

# IEEE 488.2 7.6.1.2 and 7.7.1: a mnemonic or a word of character data has at most 12 characters.
LONGEST_MNEMONIC = 12
# IEEE 488.2 7.7.2.4: limits of a decimal number.
MOST_DIGITS = 255
LARGEST_EXPONENT = 32_000

# IEEE 488.2 7.4.1.2: white space is every control character but the line feed, and the space.
_SPACE = re.compile(r"[\x00-\x20]*")
_HEADER = re.compile(r"(\*|:)?([A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*)(\?)?")
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
_NUMBER = re.compile(
    r"([+-]?)(\d+\.?\d*|\.\d+)"
    r"(?:[\x00-\x20]*[eE][\x00-\x20]*([+-]?\d+))?"
    r"(?:[\x00-\x20]*(/?[A-Za-z][A-Za-z0-9./-]*))?",
    re.ASCII,
)
_NONDECIMAL = re.compile(r"#([hHqQbB])([0-9A-Za-z]*)")
_STRING = re.compile(r"\"((?:[^\"]|\"\")*)\"|'((?:[^']|'')*)'", re.DOTALL)
_BASES = {"H": 16, "Q": 8, "B": 2}
_HEADER_CHARACTERS = re.compile(r"[A-Za-z0-9_:*?]")


class Kind(Enum):
    """The types of program data of IEEE 488.2 7.7."""

    NUMBER = auto()
    WORD = auto()
    STRING = auto()
    BLOCK = auto()
    EXPRESSION = auto()


class Datum(NamedTuple):
    """One parameter as written: a number in `value` with its suffix in `text`, anything else as `text`."""

    kind: Kind
    text: str
    value: float = 0.0


class Header(NamedTuple):
    """The header of a program message unit."""

    words: tuple[str, ...]
    is_query: bool
    is_common: bool
    is_absolute: bool

    def __str__(self) -> str:
        return ("*" if self.is_common else "") + ":".join(self.words) + ("?" if self.is_query else "")


class Scanner:
    """Walks through one program message. Every method raises ScpiError for what the standard calls a command error."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._skip_space()

    @property
    def is_at_end(self) -> bool:
        """Whether nothing but white space was left."""
        return self._at >= len(self._text)

    def header(self) -> Header:
        """Read a header and the white space behind it."""
        found = _HEADER.match(self._text, self._at)
        if found is None:
            raise self._no_header()
        mark, path, query = found.groups()
        words = tuple(path.upper().split(":"))
        if len(max(words, key=len)) > LONGEST_MNEMONIC:
            raise ScpiError(-112, max(words, key=len)[:40])
        if mark == "*" and len(words) > 1:
            raise ScpiError(-110, found.group()[:40])
        self._at = found.end()
        self._end_header(found.group())
        return Header(words, query is not None, mark == "*", mark == ":")

    def data(self) -> tuple[Datum, ...]:
        """Read the parameters up to the end of the unit."""
        if self._is_at_unit_end():
            return ()
        data = [self._datum()]
        while self._peek() == ",":
            self._at += 1
            self._skip_space()
            data.append(self._datum())
        if not self._is_at_unit_end():
            raise ScpiError(self._unexpected(-103), self._rest())
        return tuple(data)

    def next_unit(self) -> bool:
        """Step over the semicolon behind a unit; False at the end of the message."""
        if self.is_at_end:
            return False
        self._at += 1
        self._skip_space()
        return True

    def _peek(self) -> str:
        return self._text[self._at : self._at + 1]

    def _rest(self) -> str:
        return self._text[self._at : self._at + 40]

    def _skip_space(self) -> None:
        found = _SPACE.match(self._text, self._at)
        self._at = found.end() if found else self._at

    def _is_at_unit_end(self) -> bool:
        return self._peek() in ("", ";")

    def _unexpected(self, otherwise: int) -> int:
        """-101 where the character is outside ASCII or used by no element of the syntax, else `otherwise`."""
        return -101 if self._peek() > "~" or self._peek() in tuple("$&[]\\^`{|}~!") else otherwise

    def _no_header(self) -> ScpiError:
        if self._is_at_unit_end():
            return ScpiError(-102, "empty command")
        return ScpiError(-110 if _HEADER_CHARACTERS.match(self._peek()) else self._unexpected(-102), self._rest())

    def _end_header(self, header: str) -> None:
        before = self._at
        self._skip_space()
        if self._at > before or self._is_at_unit_end():
            return
        raise ScpiError(-110 if self._peek() == ":" else self._unexpected(-111), header[:20] + self._rest()[:20])

    def _datum(self) -> Datum:
        first = self._peek()
        if first.isascii() and first.isalpha():
            datum = self._word()
        elif first in ('"', "'"):
            datum = self._string()
        elif first == "#":
            datum = self._hash()
        elif first == "(":
            datum = self._expression()
        elif first and first in "+-.0123456789":
            datum = self._number()
        else:
            raise ScpiError(self._unexpected(-102), self._rest() or "parameter expected")
        self._skip_space()
        return datum

    def _word(self) -> Datum:
        found = _WORD.match(self._text, self._at)
        assert found is not None  # the caller saw its first letter
        if len(found.group()) > LONGEST_MNEMONIC:
            raise ScpiError(-144, found.group()[:40])
        self._at = found.end()
        return Datum(Kind.WORD, found.group().upper())

    def _number(self) -> Datum:
        found = _NUMBER.match(self._text, self._at)
        if found is None:
            raise ScpiError(-121, self._rest())
        sign, mantissa, exponent, suffix = found.groups()
        if len(mantissa.lstrip("0.")) > MOST_DIGITS:
            raise ScpiError(-124)
        if exponent and _exceeds(exponent):
            raise ScpiError(-123, exponent[:40])
        self._at = found.end()
        if self._peek() in (".", "+", "-"):
            raise ScpiError(-121, self._rest())
        return Datum(Kind.NUMBER, suffix or "", float(f"{sign}{mantissa}e{exponent or 0}"))

    def _string(self) -> Datum:
        found = _STRING.match(self._text, self._at)
        if found is None:
            raise ScpiError(-151, "no closing quotation mark")
        self._at = found.end()
        double, single = found.groups()
        return Datum(Kind.STRING, double.replace('""', '"') if double is not None else single.replace("''", "'"))

    def _hash(self) -> Datum:
        found = _NONDECIMAL.match(self._text, self._at)
        if found is None:
            return self._block()
        base, digits = found.groups()
        if len(digits) > MOST_DIGITS:
            raise ScpiError(-124)
        try:
            value = int(digits, _BASES[base.upper()])
        except ValueError as error:
            raise ScpiError(-121, self._rest()) from error
        self._at = found.end()
        return Datum(Kind.NUMBER, "", float(value))

    def _block(self) -> Datum:
        try:
            header = BlockHeader.parse(self._text[self._at : self._at + 11].encode("latin-1"))
        except BlockError as error:
            raise ScpiError(-161, self._rest()) from error
        if header is None:
            raise ScpiError(-161, "head cut short")
        start = self._at + header.size
        end = len(self._text) if header.length is None else start + header.length
        if end > len(self._text):
            raise ScpiError(-161, f"{len(self._text) - start} of {header.length} bytes")
        self._at = end
        return Datum(Kind.BLOCK, self._text[start:end])

    def _expression(self) -> Datum:
        """Parentheses with anything in them but quotes, blocks, parentheses and semicolons (IEEE 488.2 7.7.7)."""
        end = self._text.find(")", self._at)
        inner = self._text[self._at + 1 : end]
        if end < 0 or any(c in inner for c in "\"#'(;"):
            raise ScpiError(-171, self._rest())
        self._at = end + 1
        return Datum(Kind.EXPRESSION, inner)


def _exceeds(exponent: str) -> bool:
    digits = exponent.lstrip("+-").lstrip("0")
    return len(digits) > 5 or int(digits or "0") > LARGEST_EXPONENT
