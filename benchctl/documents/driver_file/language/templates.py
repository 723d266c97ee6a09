"""Templates of a driver file: messages into which only numbers and checked words are put.

`{name:format}` takes a value. Only plain names that the command offers are read: no attributes, no indices, no
conversions, no nested formats. Values are finite numbers, whole numbers, lists of whole numbers or checked
words, so no user's text ever reaches an instrument.
"""

from __future__ import annotations

import math
import re
import string
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from benchctl.documents.driver_file.language.values import (
    REAL,
    TABLE,
    WHOLE,
    WORD,
    Kind,
    Spelling,
    TableText,
    spellings,
)
from benchctl.documents.text.position import Position
from benchctl.documents.text.words import describe, unknown
from benchctl.errors import quote

LONGEST_TEMPLATE = 400  # characters; SCPI instruments commonly take messages of 255 or more
_FORMATS: Mapping[Kind, re.Pattern[str]] = {
    "real": re.compile(r"(?:0[0-9]{1,2})?(?:\.[0-9]{1,2})?[efgEG]"),
    "whole": re.compile(r"(?:0[0-9]{1,2})?[dxXb]|"),
    "wholes": re.compile(r""),
    "word": re.compile(r""),
    "table": re.compile(r""),
}
_FORMAT_WORDS: Mapping[Kind, str] = {
    "real": "a format such as ':.6g' or ':.4f'",
    "whole": "no format, or one such as ':d', ':02d' or ':x'",
    "wholes": "no format",
    "word": "no format",
    "table": "no format",
}
_PRINTABLE = re.compile(r"[ -~]+")
_WORD = re.compile(r"[A-Za-z0-9_]+")

Value = float | int | str | tuple[int, ...]


class TemplateError(ValueError):
    """A template cannot be used, or a value does not fit it."""


class Message(NamedTuple):
    """One message as it is sent, and how long the instrument needs quiet after it, s.

    `holds_bytes`: it may hold a block, with a character a byte.
    """

    text: str
    settle_s: float = 0.0
    holds_bytes: bool = False


@dataclass(frozen=True)
class Template:
    """One message to an instrument, with the values it takes.

    Attributes:
        text: the message, with the names of the values in braces.
        takes: name as it is written -> which value that is, and how it is put in.
        settle_s: how long the instrument needs quiet after the message.
        position: where it stands in its file.
    """

    text: str
    takes: Mapping[str, Spelling]
    settle_s: float = 0.0
    position: Position | None = field(default=None, compare=False)

    @classmethod
    def parse(cls, text: str, offered: Mapping[str, Kind]) -> Template:
        """Check `text` against the values that its command offers.

        Raises:
            TemplateError: says what is wrong with it.
        """
        if not _PRINTABLE.fullmatch(text) or len(text) > LONGEST_TEMPLATE:
            raise TemplateError(
                f"{describe(text)}: a command is one line of 1 to {LONGEST_TEMPLATE} plain ASCII characters"
            )
        known, takes = spellings(offered), dict[str, Spelling]()
        for name, format_spec, conversion in _fields(text):
            if conversion:
                raise TemplateError(f"{quote(text)}: conversions such as {quote('!' + conversion)} are not supported")
            if name not in known:
                raise TemplateError(f"{quote(text)}: {_unknown_value(name, offered, known)}")
            if not _FORMATS[known[name].kind].fullmatch(format_spec):
                raise TemplateError(f"{quote(text)}: '{{{name}}}' takes {_FORMAT_WORDS[known[name].kind]}")
            takes[name] = known[name]
        return cls(text, takes, position=getattr(text, "position", None))

    @property
    def is_query(self) -> bool:
        """Whether the instrument answers."""
        return "?" in self.text

    @cached_property
    def uses(self) -> frozenset[str]:
        """The values that it takes, by their own names."""
        return frozenset(spelling.base for spelling in self.takes.values())

    @cached_property
    def holds_table(self) -> bool:
        """Whether it takes samples."""
        return any(spelling.kind == TABLE for spelling in self.takes.values())

    def message(self, **values: Value) -> Message:
        """As `render`, with what the sender must know."""
        return Message(self.render(**values), self.settle_s, self.holds_table)

    def render(self, **values: Value) -> str:
        """The message with its values put in; values it does not use are ignored.

        Args:
            values: each by its own name, in its base unit.

        Raises:
            TemplateError: a value is missing, is of another kind, or is not finite.
        """
        missing = self.uses - values.keys()
        if missing:
            raise TemplateError(f"{quote(self.text)} needs a value for {', '.join(sorted(missing))}")
        checked = {name: _put_in(name, spelling, values[spelling.base]) for name, spelling in self.takes.items()}
        return self.text.format_map(checked)


def _unknown_value(name: str, offered: Mapping[str, Kind], known: Mapping[str, Spelling]) -> str:
    """Offers the nearest spelling, or the values by their own names."""
    near = unknown(name, known, "value")
    return near if "did you mean" in near else unknown(name, offered, "value")


def _fields(text: str) -> list[tuple[str, str, str | None]]:
    try:
        pieces = list(string.Formatter().parse(text))
    except ValueError as error:
        raise TemplateError(f"{quote(text)}: a brace is out of place ({error})") from None
    return [(name, spec or "", conversion) for _, name, spec, conversion in pieces if name is not None]


def _put_in(name: str, spelling: Spelling, value: object) -> float | int | str:
    if spelling.convert is None:
        return _checked(name, spelling.kind, value)
    base = _checked(spelling.base, WHOLE if spelling.kind == WORD else REAL, value)
    try:
        return _checked(name, spelling.kind, spelling.convert(float(base)))
    except ValueError as error:
        raise TemplateError(f"{error}, so it is not sent as {name}") from None


def _checked(name: str, kind: Kind, value: object) -> float | int | str:
    if kind == "wholes" and isinstance(value, tuple | list) and value:
        return ",".join(str(_checked(name, "whole", item)) for item in value)
    if kind == "whole" and isinstance(value, int) and not isinstance(value, bool):
        return value
    if kind == "real" and isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    if kind == "word" and isinstance(value, str) and _WORD.fullmatch(value):
        return value
    if kind == "table" and isinstance(value, TableText):
        return value
    raise TemplateError(f"{quote(value)} is not a {_KIND_WORDS[kind]}, so it is not sent as {name}")


_KIND_WORDS: Mapping[Kind, str] = {
    "real": "finite number",
    "whole": "whole number",
    "wholes": "list of whole numbers",
    "word": "plain word",
    "table": "table of samples",
}
