"""Numbers as SCPI instruments write them: NR1, NR2, NR3, and the values that stand for no number."""

from __future__ import annotations

import math
import re

from benchctl.scpi.errors import FormatError

# SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5.
NOT_A_NUMBER = 9.91e37
INFINITY = 9.9e37

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
# Some instruments spell the words out in an answer; SCPI-99 7.2.1 gives the words.
_WORDS = {"NAN": math.nan, "INF": math.inf, "+INF": math.inf, "-INF": -math.inf, "NINF": -math.inf}


class NumberError(FormatError):
    """An answer is not a number in any of the forms of IEEE 488.2."""


def parse_number(text: str) -> float:
    """Read an answer in NR1, NR2 or NR3 form; 9.91E37 gives nan and +-9.9E37 or beyond gives +-inf.

    The caller must look for nan and infinities: they say that the instrument could not measure.

    Raises:
        NumberError: the text is not a number.
    """
    stripped = text.strip()
    word = _WORDS.get(stripped.upper())
    if word is not None:
        return word
    if _NUMBER.fullmatch(stripped) is None:
        raise NumberError(f"{text[:80]!r} is not a number")
    return _without_stand_ins(float(stripped))


def _without_stand_ins(value: float) -> float:
    if abs(value) == NOT_A_NUMBER:
        return math.nan
    if abs(value) >= INFINITY:
        return math.copysign(math.inf, value)
    return value


def format_nr1(value: int) -> str:
    """An integer: `-5`."""
    return str(int(value))


def format_nr3(value: float, digits: int = 9) -> str:
    """Scientific with `digits` significant figures: `-5.00000000E+00`; nan and infinities as SCPI-99 writes them."""
    return _stand_in(value) or f"{value:.{digits - 1}E}"


def _stand_in(value: float) -> str:
    """What is sent for a value that is not a finite number; empty for one that is."""
    if math.isfinite(value):
        return ""
    if math.isnan(value):
        return "9.91E37"
    return "9.9E37" if value > 0 else "-9.9E37"
