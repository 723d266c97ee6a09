"""Taking response messages apart on the controller's side (IEEE 488.2 chapter 8)."""

from __future__ import annotations

import re

from benchctl.scpi.errors import FormatError
from benchctl.scpi.numbers import parse_number

_STRING_OR_OTHER = r"(?:\"(?:[^\"]|\"\")*\"|[^\"{0}])*"
_ANSWER = re.compile(_STRING_OR_OTHER.format(";"))
_ELEMENT = re.compile(_STRING_OR_OTHER.format(","))


def split_answers(response: str) -> list[str]:
    """The answers of a response to several queries: parted at semicolons outside quotation marks."""
    return _split(response, _ANSWER)


def split_elements(answer: str) -> list[str]:
    """The elements of one answer: parted at commas outside quotation marks."""
    return _split(answer, _ELEMENT)


def parse_numbers(answer: str) -> list[float]:
    """An answer that is a list of numbers. Raises NumberError where an element is none."""
    return [parse_number(element) for element in answer.split(",")]


def parse_string(answer: str) -> str:
    """The text of an answer in quotation marks, single or double.

    Raises:
        FormatError: no quotation marks around it.
    """
    text = answer.strip()
    if len(text) < 2 or text[0] not in "\"'" or text[-1] != text[0]:
        raise FormatError(f"{answer[:80]!r} is no quoted string")
    return text[1:-1].replace(text[0] * 2, text[0])


def _split(text: str, part: re.Pattern[str]) -> list[str]:
    parts: list[str] = []
    at = 0
    while True:
        found = part.match(text, at)
        assert found is not None  # the pattern matches the empty text
        if found.end() < len(text) and text[found.end()] == '"':
            raise FormatError(f"{text[:80]!r} has no closing quotation mark")
        parts.append(found.group().strip())
        at = found.end() + 1
        if at > len(text):
            return parts
