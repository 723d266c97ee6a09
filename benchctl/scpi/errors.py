"""Error numbers and texts of SCPI-99, and the queue that an instrument keeps them in."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from benchctl.scpi.number_list import NumberList
from benchctl.scpi.standard_errors import TEXTS

# SCPI-99 volume 2, 21.8: number -> text.
STANDARD_ERRORS: Mapping[int, str] = MappingProxyType(TEXTS)

# SCPI-99 volume 2, 21.8: text and device-dependent information together hold at most 255 characters.
LONGEST_TEXT = 255

# SCPI-99 volume 2, 21.8: every number is one of these, and 0 is no error.
ERROR_NUMBERS = range(-32768, 32768)

# What STATus:PRESet lets into the queue: all errors, also the instrument's own, but no events (SCPI-99 20).
ERRORS_ONLY = NumberList(((-499, -100), (1, 32767)))

_ERROR = re.compile(r"\s*([+-]?\d+)\s*(?:,\s*(.*?))?\s*", re.ASCII | re.DOTALL)


class FormatError(ValueError):
    """A text does not have the form that IEEE 488.2 or SCPI-99 gives; the message says what was found."""


class ScpiError(Exception):
    """What a parser, a parameter or a handler raises on the device side: it ends up in the error queue.

    Attributes:
        code: the SCPI-99 number; a positive one is the instrument's own.
        info: device-dependent information, printed after the standard text.
    """

    def __init__(self, code: int, info: str = "") -> None:
        super().__init__(error_text(code, info))
        self.code = code
        self.info = info


class ErrorEntry(NamedTuple):
    """One entry of an error queue."""

    code: int
    text: str

    def render(self) -> str:
        """The entry as SYSTem:ERRor? answers it: number, comma, quoted text."""
        return '{},"{}"'.format(self.code, self.text.replace('"', '""'))


NO_ERROR = ErrorEntry(0, "No error")


def error_text(code: int, info: str = "") -> str:
    """The standard text of `code`, with `info` behind a semicolon; printable ASCII only, 255 characters at most."""
    text = STANDARD_ERRORS.get(code, "Device-specific error")
    if info:
        # Quotes would be doubled in the reply, and other clients' bytes must not travel through the queue.
        shown = "".join(c if " " <= c <= "~" and c != '"' else "." for c in info[:LONGEST_TEXT])
        text = f"{text};{shown}"
    return text[:LONGEST_TEXT]


def is_command_error(code: int) -> bool:
    """Whether `code` is of the class that the parser finds (-100 to -199), after which the message is not trusted."""
    return -200 < code <= -100


def parse_error(answer: str) -> tuple[int, str]:
    """Read an answer of SYSTem:ERRor? as (number, text); instruments differ in sign, spaces and quotes.

    Raises:
        FormatError: the answer does not begin with a number.
    """
    found = _ERROR.fullmatch(answer)
    if found is None:
        raise FormatError(f"{answer[:80]!r} is not an answer to SYSTem:ERRor?")
    text = found.group(2) or ""
    if len(text) >= 2 and text[0] == text[-1] and text[0] in "\"'":
        text = text[1:-1].replace(text[0] * 2, text[0])
    return int(found.group(1)), text


class ErrorQueue:
    """First in, first out; when it is full the newest entry becomes -350 and the oldest stay (SCPI-99 21.8.1).

    Attributes:
        enabled: the numbers that enter the queue; -350 always does when something was lost.
    """

    def __init__(self, size: int = 20) -> None:
        if size < 2:
            # SCPI-99 21.8.1: the queue holds at least two entries.
            raise ValueError("an error queue holds at least two entries")
        self._size = size
        self.enabled = ERRORS_ONLY
        self._entries: deque[ErrorEntry] = deque()

    def __len__(self) -> int:
        return len(self._entries)

    def push(self, code: int, info: str = "") -> None:
        """Add an error or event if its number is enabled; into a full queue, mark the overflow instead."""
        if code not in self.enabled:
            return
        if len(self._entries) < self._size:
            self._entries.append(ErrorEntry(code, error_text(code, info)))
        else:
            self._entries[-1] = ErrorEntry(-350, STANDARD_ERRORS[-350])

    def pop(self) -> ErrorEntry:
        """Take the oldest entry; `0,"No error"` from an empty queue."""
        return self._entries.popleft() if self._entries else NO_ERROR

    def pop_all(self) -> list[ErrorEntry]:
        """Take every entry, oldest first; an empty queue gives its one `0,"No error"`."""
        entries = list(self._entries) or [NO_ERROR]
        self._entries.clear()
        return entries

    def preset(self) -> None:
        """What STATus:PRESet does: errors are enabled, events are not."""
        self.enabled = ERRORS_ONLY

    def clear(self) -> None:
        """Forget every entry."""
        self._entries.clear()
