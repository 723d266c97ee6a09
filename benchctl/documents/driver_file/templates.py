"""Commands of a driver file: templates into which only numbers and checked words are put.

`{name:format}` takes a value. Only plain names that the command offers are read: no attributes, no indices, no
conversions, no nested formats. Values are finite numbers, whole numbers, lists of whole numbers or checked
mnemonics, so no user's text ever reaches an instrument.
"""

from __future__ import annotations

import math
import re
import string
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BeforeValidator, GetCoreSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema, core_schema

from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.documents.text.words import describe, unknown
from benchctl.errors import quote

Kind = Literal["real", "whole", "wholes"]
REAL: Kind = "real"
WHOLE: Kind = "whole"
WHOLES: Kind = "wholes"  # a channel list's inside: 101,103

# In a command's schema: the values that it may take; its description lists them.
TAKES = "takes"
LONGEST_TEMPLATE = 400  # characters; SCPI instruments commonly take messages of 255 or more
_FORMATS: Mapping[Kind, re.Pattern[str]] = {
    "real": re.compile(r"(?:\.[0-9]{1,2})?[efgEG]"),
    "whole": re.compile(r"d?"),
    "wholes": re.compile(r""),
}
_FORMAT_WORDS: Mapping[Kind, str] = {
    "real": "a format such as ':.6g' or ':.4f'",
    "whole": "no format, or ':d'",
    "wholes": "no format",
}
_PRINTABLE = re.compile(r"[ -~]+")

Value = float | int | str | tuple[int, ...]


class TemplateError(ValueError):
    """A template cannot be used, or a value does not fit it."""


@dataclass(frozen=True)
class Template:
    """One message to an instrument, with the kinds of the values it takes."""

    text: str
    takes: Mapping[str, Kind]

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
        takes: dict[str, Kind] = {}
        for name, format_spec, conversion in _fields(text):
            if conversion:
                raise TemplateError(f"{quote(text)}: conversions such as {quote('!' + conversion)} are not supported")
            if name not in offered:
                raise TemplateError(f"{quote(text)}: {unknown(name, offered, 'value')}")
            if not _FORMATS[offered[name]].fullmatch(format_spec):
                raise TemplateError(f"{quote(text)}: '{{{name}}}' takes {_FORMAT_WORDS[offered[name]]}")
            takes[name] = offered[name]
        return cls(text, takes)

    @property
    def is_query(self) -> bool:
        """Whether the instrument answers."""
        return "?" in self.text

    def render(self, **values: Value) -> str:
        """The message with its values put in; values it does not use are ignored.

        Raises:
            TemplateError: a value is missing, is of another kind, or is not finite.
        """
        missing = self.takes.keys() - values.keys()
        if missing:
            raise TemplateError(f"{quote(self.text)} needs a value for {', '.join(sorted(missing))}")
        checked = {name: _checked(name, kind, values[name]) for name, kind in self.takes.items()}
        return self.text.format_map(checked)


def _fields(text: str) -> list[tuple[str, str, str | None]]:
    try:
        pieces = list(string.Formatter().parse(text))
    except ValueError as error:
        raise TemplateError(f"{quote(text)}: a brace is out of place ({error})") from None
    return [(name, spec or "", conversion) for _, name, spec, conversion in pieces if name is not None]


def _checked(name: str, kind: Kind, value: object) -> float | int | str:
    if kind == "wholes" and isinstance(value, tuple | list) and value:
        return ",".join(str(_checked(name, "whole", item)) for item in value)
    if kind == "whole" and isinstance(value, int) and not isinstance(value, bool):
        return value
    if kind == "real" and isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    raise TemplateError(f"{quote(value)} is not a {_KIND_WORDS[kind]}, so it is not sent as {name}")


_KIND_WORDS: Mapping[Kind, str] = {
    "real": "finite number",
    "whole": "whole number",
    "wholes": "list of whole numbers",
}


@dataclass(frozen=True)
class Command:
    """What one operation sends: one message or several in order. Empty if the family needs none."""

    templates: tuple[Template, ...] = ()

    def render(self, **values: Value) -> tuple[str, ...]:
        """The messages to send, in order; see `Template.render`."""
        return tuple(template.render(**values) for template in self.templates)

    def __bool__(self) -> bool:
        return bool(self.templates)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.is_instance_schema(cls)


@dataclass(frozen=True)
class Query(Command):
    """A command whose last message, and only that one, is answered."""


def offering(*, optional: Mapping[str, Kind] | None = None, **needed: Kind) -> tuple[BeforeValidator, WithJsonSchema]:
    """The type of a command that offers values: `Annotated[Command, *offering(level_v=REAL)]`.

    A driver must use each needed value, or the setting would be lost; it may omit the optional ones.
    """
    return _reading(Command, needed, optional or {})


def asking(*, optional: Mapping[str, Kind] | None = None, **needed: Kind) -> tuple[BeforeValidator, WithJsonSchema]:
    """As `offering`, for a command that is answered: `Annotated[Query, *asking()]`."""
    return _reading(Query, needed, optional or {})


def _reading(
    kind: type[Command], needed: Mapping[str, Kind], optional: Mapping[str, Kind]
) -> tuple[BeforeValidator, WithJsonSchema]:
    """Reads a command and describes its form: one line or several, with the values that it may take."""
    one = {"type": "string", "maxLength": LONGEST_TEMPLATE}
    written = {"anyOf": [one, {"type": "array", "items": one, "minItems": 1}], TAKES: [*needed, *optional]}
    return BeforeValidator(lambda value: _read_command(value, kind, needed, optional)), WithJsonSchema(written)


def _read_command(value: Any, kind: type[Command], needed: Mapping[str, Kind], optional: Mapping[str, Kind]) -> Any:
    if isinstance(value, Command):
        return value
    texts = [value] if isinstance(value, str) else value
    if not isinstance(texts, list | tuple) or not texts:
        raise ValueError(f"{describe(value)} is written where a command, or a list of commands, belongs")
    templates, problems = _parse_all(texts, {**needed, **optional}, is_list=texts is value)
    if problems:
        raise PathProblems(problems)
    _check_whole(templates, kind, needed)
    return kind(tuple(templates))


def _parse_all(texts: Any, offered: Mapping[str, Kind], *, is_list: bool) -> tuple[list[Template], list[PathProblem]]:
    templates: list[Template] = []
    problems: list[PathProblem] = []
    for index, text in enumerate(texts):
        try:
            if not isinstance(text, str):
                raise TemplateError(f"{describe(text)} is written where a command belongs")
            templates.append(Template.parse(str.__str__(text), offered))
        except TemplateError as error:
            problems.append(PathProblem((index,) if is_list else (), str(error)))
    return templates, problems


def _check_whole(templates: list[Template], kind: type[Command], needed: Mapping[str, Kind]) -> None:
    used = {name for template in templates for name in template.takes}
    unused = [f"'{{{name}}}'" for name in needed if name not in used]
    if unused:
        raise ValueError(f"the value {' and '.join(unused)} is not used, so it would never reach the instrument")
    answered = [template.is_query for template in templates]
    if kind is Query and (not answered[-1] or any(answered[:-1])):
        raise ValueError("a question ends in one message with '?', and none before it has one")
    if kind is Command and any(answered):
        raise ValueError("a '?' in a command that is not a question; its answer would never be read")
