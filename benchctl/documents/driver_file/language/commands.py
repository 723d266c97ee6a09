"""Commands of a driver file: what one operation sends, and what it may put into its messages."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import BeforeValidator, GetCoreSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema, core_schema

from benchctl.documents.driver_file.language.answer_keys import command_schema
from benchctl.documents.driver_file.language.templates import Message, Template, TemplateError, Value
from benchctl.documents.driver_file.language.values import Kind
from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.documents.text.position import Position, position_of
from benchctl.documents.text.words import describe, unknown
from benchctl.quantity import QuantityError, parse_quantity

# In a command's schema: the values that it may take; its description lists them.
TAKES = "takes"
NONE = "none"
LONGEST_SETTLING_S = 60.0
_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True)
class Command:
    """What one operation sends: one message or several in order. Empty if the family lacks it or needs none.

    Attributes:
        templates: the messages.
        written: as the driver file has it.
        none_at: where the driver file says `none` instead.
    """

    templates: tuple[Template, ...] = ()
    written: Any = field(default=None, compare=False, kw_only=True)
    none_at: Position | None = field(default=None, compare=False, kw_only=True)

    def render(self, **values: Value) -> tuple[str, ...]:
        """The messages to send, in order; see `Template.render`."""
        return tuple(template.render(**values) for template in self.templates)

    def messages(self, **values: Value) -> tuple[Message, ...]:
        """The messages to send, in order, each with the quiet that it needs."""
        return tuple(template.message(**values) for template in self.templates)

    @property
    def settle_s(self) -> float:
        """How much quiet all its messages need together, s."""
        return sum(template.settle_s for template in self.templates)

    @property
    def uses(self) -> frozenset[str]:
        """The values that it takes, by their own names."""
        return frozenset[str]().union(*(template.uses for template in self.templates))

    @property
    def spelled(self) -> frozenset[str]:
        """The values that it takes, as they are written, such as `relay_letter`."""
        return frozenset(name for template in self.templates for name in template.takes)

    @property
    def position(self) -> Position | None:
        """Where its first message stands in its file, or the `none` in its place."""
        return self.templates[0].position if self.templates else self.none_at

    def __bool__(self) -> bool:
        return bool(self.templates)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.is_instance_schema(cls)


@dataclass(frozen=True)
class Offer:
    """What a command offers to its templates.

    Attributes:
        needed: groups of values; of each group one must be used, or the setting would be lost.
        optional: values that may be used.
        may_lack: whether `none` may be written in place of the command.
    """

    needed: tuple[Mapping[str, Kind], ...] = ()
    optional: Mapping[str, Kind] = field(default_factory=dict)
    may_lack: bool = False

    @property
    def every(self) -> dict[str, Kind]:
        """All values, by their own names."""
        return {name: kind for group in (*self.needed, self.optional) for name, kind in group.items()}

    def check_used(self, templates: Sequence[Template]) -> None:
        """Refuse templates that leave a needed value out."""
        used = frozenset[str]().union(*(template.uses for template in templates))
        lost = [" or ".join(f"'{{{name}}}'" for name in group) for group in self.needed if used.isdisjoint(group)]
        if lost:
            raise ValueError(f"the value {' and '.join(lost)} is not used, so it would never reach the instrument")

    def lack(self) -> None:
        """Refuse `none` where the role cannot do without the command."""
        if not self.may_lack:
            raise ValueError("no instrument in this role can do without this command, so 'none' is not accepted here")


def offer(
    *one_of: Mapping[str, Kind], optional: Mapping[str, Kind] | None = None, may_lack: bool = False, **needed: Kind
) -> Offer:
    """What a command offers: each of `needed`, one of each group in `one_of`, and `optional` ones."""
    groups = (*({name: kind} for name, kind in needed.items()), *one_of)
    return Offer(groups, optional or {}, may_lack)


def offering(
    *one_of: Mapping[str, Kind], optional: Mapping[str, Kind] | None = None, may_lack: bool = False, **needed: Kind
) -> tuple[BeforeValidator, WithJsonSchema]:
    """The type of a command that offers values: `Annotated[Command, *offering(level_v=REAL)]`.

    A driver must use each needed value, or the setting would be lost, in any of its units; of each group in `one_of` it
    must use one; it may leave out the optional ones. With `may_lack` it may write `none` in place of the command.
    """
    offered = offer(*one_of, optional=optional, may_lack=may_lack, **needed)
    return BeforeValidator(lambda value: _read_command(value, offered)), WithJsonSchema(
        {"anyOf": command_schema(), TAKES: [*offered.every]}
    )


def _read_command(value: Any, offered: Offer) -> Any:
    if isinstance(value, Command):
        return value
    if is_none(value):
        offered.lack()
        return Command(none_at=position_of(value))
    templates = read_templates(value, offered)
    if any(template.is_query for template in templates):
        raise ValueError("a '?' in a command that is not a question; its answer would never be read")
    return Command(tuple(templates), written=as_written(value))


def as_written(value: Any) -> Any:
    """A node of a driver file as plain text, numbers, lists and mappings."""
    if isinstance(value, Mapping):
        return {str(key): as_written(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [as_written(entry) for entry in value]
    text = str(value)
    if _NUMBER.fullmatch(text):
        return int(text) if text.lstrip("+-").isdecimal() else float(text)
    return text


def is_none(value: object) -> bool:
    """Whether `none` is written: the instrument lacks this."""
    return isinstance(value, str) and value == NONE


def read_templates(value: Any, offered: Offer) -> list[Template]:
    """The messages of a command as a driver file writes them: a line, a list, or `{send: ..., settle: ...}`.

    Raises:
        PathProblems: some of them cannot be used.
        ValueError: a value that must be used is not, or this is no command.
    """
    templates, problems = _templates_of(value, offered.every)
    if problems:
        raise PathProblems(problems)
    offered.check_used(templates)
    return templates


def _templates_of(value: Any, offered: Mapping[str, Kind]) -> tuple[list[Template], list[PathProblem]]:
    if isinstance(value, Mapping):
        return _sent_and_settled(value, offered)
    if isinstance(value, str):
        return _parse_all([value], offered, lambda _: ())
    if not isinstance(value, list | tuple) or not value:
        raise ValueError(f"{describe(value)} is written where a command, or a list of commands, belongs")
    return _parse_all(value, offered, lambda index: (index,))


def _parse_all(
    items: Iterable[Any], offered: Mapping[str, Kind], path_of: Callable[[int], tuple[str | int, ...]]
) -> tuple[list[Template], list[PathProblem]]:
    templates: list[Template] = []
    problems: list[PathProblem] = []
    for index, item in enumerate(items):
        try:
            if isinstance(item, Mapping):
                inner, found = _sent_and_settled(item, offered)
                templates += inner
                problems += [replace(problem, path=(*path_of(index), *problem.path)) for problem in found]
            elif isinstance(item, str):
                parsed = Template.parse(str.__str__(item), offered)
                templates.append(replace(parsed, position=position_of(item) if hasattr(item, "position") else None))
            else:
                raise TemplateError(f"{describe(item)} is written where a command belongs")
        except TemplateError as error:
            problems.append(PathProblem(path_of(index), str(error)))
    return templates, problems


def _sent_and_settled(
    value: Mapping[str, Any], offered: Mapping[str, Kind]
) -> tuple[list[Template], list[PathProblem]]:
    """`{send: LINE or LIST, settle: 2 s}`: the quiet follows the last message."""
    strange = [
        PathProblem((key,), unknown(key, ("send", "settle")), is_key=True)
        for key in value
        if key not in ("send", "settle")
    ]
    if strange or "send" not in value:
        return [], strange or [PathProblem((), "a command is a line, a list of lines, or {send: ..., settle: ...}")]
    templates, problems = _templates_of(value["send"], offered)
    problems = [replace(problem, path=("send", *problem.path)) for problem in problems]
    try:
        settle_s = _settling_s(value.get("settle", "0 s"))
    except ValueError as error:
        return templates, [*problems, PathProblem(("settle",), str(error))]
    return [*templates[:-1], *(replace(template, settle_s=settle_s) for template in templates[-1:])], problems


def _settling_s(text: object) -> float:
    try:
        settle_s = parse_quantity(str(text), "s")
    except QuantityError as error:
        raise ValueError(str(error)) from None
    if not 0 <= settle_s <= LONGEST_SETTLING_S:
        raise ValueError(f"an instrument that needs quiet takes 0 s to {LONGEST_SETTLING_S:g} s here")
    return settle_s
