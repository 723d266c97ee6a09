"""Text for a console that lacks some characters, and text from outside, which may hold any character.

Uses only the standard library: the guardian writes such text too.
"""

from __future__ import annotations

import codecs
import unicodedata
from typing import Final, TextIO

# The name of the error handler for characters that a console lacks.
READABLE: Final = "benchctl.readable"
# ASCII under another name: click thinks that a stream in ASCII is a mistake, and writes UTF-8 to it.
_ASCII_CONSOLE: Final = "ascii_console"
_IN_WORDS = {
    "\N{OHM SIGN}": "ohm",
    "\N{GREEK CAPITAL LETTER OMEGA}": "ohm",
    "\N{MICRO SIGN}": "u",
    "\N{GREEK SMALL LETTER MU}": "u",
    "\N{DEGREE SIGN}": "deg",
    "\N{PLUS-MINUS SIGN}": "+/-",
    "\N{MULTIPLICATION SIGN}": "x",
    "\N{MIDDLE DOT}": ".",
    "\N{SQUARE ROOT}": "sqrt",
    "\N{INFINITY}": "inf",
    "\N{LESS-THAN OR EQUAL TO}": "<=",
    "\N{GREATER-THAN OR EQUAL TO}": ">=",
    "\N{ALMOST EQUAL TO}": "~",
    "\N{GREEK CAPITAL LETTER DELTA}": "delta",
    "\N{GREEK SMALL LETTER ETA}": "eta",
    "\N{GREEK SMALL LETTER PHI}": "phi",
    "\N{LEFT DOUBLE QUOTATION MARK}": '"',
    "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
    "\N{LEFT SINGLE QUOTATION MARK}": "'",
    "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    "\N{EN DASH}": "-",
    "\N{EM DASH}": "-",
    "\N{MINUS SIGN}": "-",
    "\N{BULLET}": "-",
    "\N{RIGHTWARDS ARROW}": "->",
    "\N{LEFTWARDS ARROW}": "<-",
    "\N{EURO SIGN}": "EUR",
    "\N{LATIN SMALL LETTER SHARP S}": "ss",
}
_HORIZONTAL, _VERTICAL = "─━┄┅┈┉╌╍═╴╶╸╺╼╾", "│┃┆┇┊┋╎╏║╵╷╹╻╽╿"
_BOXES, _BLOCKS = ("\u2500", "\u257f"), ("\u2580", "\u259f")
# A byte of a file name that is not text becomes one of these (PEP 383).
_ESCAPED_BYTES = ("\udc80", "\udcff")
_CUT = "..."


def readable(char: str) -> str:
    """ASCII text for a character that cannot be shown, as near to its meaning as possible."""
    if char in _IN_WORDS:
        return _IN_WORDS[char]
    if _BOXES[0] <= char <= _BOXES[1]:
        return "-" if char in _HORIZONTAL else "|" if char in _VERTICAL else "+"
    if _BLOCKS[0] <= char <= _BLOCKS[1]:
        return "#"
    if _ESCAPED_BYTES[0] <= char <= _ESCAPED_BYTES[1]:
        return f"\\x{ord(char) - 0xDC00:02x}"
    plain = unicodedata.normalize("NFKD", char).encode("ascii", "ignore").decode("ascii")
    return plain or "?"


def printable(text: str, *, longest: int) -> str:
    """Text without anything that could move a terminal's cursor or end a line: what is not printable becomes an escape,
    and text that is too long is cut."""
    plain = text[: longest + 1]
    if not plain.isprintable():
        plain = "".join(char if char.isprintable() else _escape(char) for char in plain)
    return plain if len(plain) <= longest else f"{plain[: longest - len(_CUT)]}{_CUT}"


def _escape(char: str) -> str:
    return f"\\x{ord(char):02x}" if ord(char) < 0x100 else f"\\u{ord(char):04x}"


def answer_text(line: bytes) -> str:
    """An instrument's answer as text: ASCII without the spaces around it; other bytes and control characters become
    escapes. All answers of instruments enter the program here.

    An answer of one byte is kept as it is: where it is a byte of bits, a space is one of them.
    """
    text = line.decode("ascii", "backslashreplace")
    if len(line) > 1:
        text = text.replace("\t", " ").strip()
    return printable(text, longest=4 * len(line))


def _replace(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(readable, error.object[error.start : error.end])), error.end


def register() -> None:
    """Register this module's error handler and encoding with Python."""
    codecs.register(_ascii_console)
    codecs.register_error(READABLE, _replace)


def encoding_for(stream: TextIO) -> str:
    """The encoding to use for a stream."""
    return _ASCII_CONSOLE if codecs.lookup(stream.encoding).name == "ascii" else stream.encoding


def _ascii_console(name: str) -> codecs.CodecInfo | None:
    if name != _ASCII_CONSOLE:
        return None
    ascii_ = codecs.lookup("ascii")
    return codecs.CodecInfo(
        encode=ascii_.encode,
        decode=ascii_.decode,
        streamreader=ascii_.streamreader,
        streamwriter=ascii_.streamwriter,
        incrementalencoder=ascii_.incrementalencoder,
        incrementaldecoder=ascii_.incrementaldecoder,
        name=_ASCII_CONSOLE,
    )
