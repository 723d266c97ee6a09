"""Questions that are options too: what is not given is asked, and each answer is checked at once."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

import click
from pydantic import TypeAdapter, ValidationError

from benchctl.documents.model.sentences import sentences
from benchctl.documents.text.position import Position
from benchctl.documents.text.tree import Text
from benchctl.documents.text.words import unknown

_F = TypeVar("_F", bound=Callable[..., Any])
# Generic where types are checked; the oldest click that will do has it plain.
if TYPE_CHECKING:
    _Type = click.ParamType[Any]
else:
    _Type = click.ParamType
_TAKE_OFFERED = "benchctl.take_offered"


class Written(_Type):
    """Text as a document has it for a value of `kind`; it is passed on as it was written."""

    name = "text"

    def __init__(self, kind: Any) -> None:
        self._reader: TypeAdapter[Any] = TypeAdapter(kind)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            self._reader.validate_python(Text(value, Position(1, 1)))
        except ValidationError as error:
            _, message = next(iter(sentences(error)))
            self.fail(message, param, ctx)
        return value


class Listed(_Type):
    """Several of a kind with commas between them."""

    name = "text, text, ..."

    def __init__(self, kind: _Type) -> None:
        self._kind = kind

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not isinstance(value, str):
            return value
        parts = [part.strip() for part in value.split(",") if part.strip()]
        if not parts:
            self.fail("nothing is given; at least one is needed", param, ctx)
        return [self._kind.convert(part, param, ctx) for part in parts]


class Paired(_Type):
    """Two values with an equals sign between them."""

    name = "text = text"

    def __init__(self, left: _Type, right: _Type, example: str) -> None:
        self._left, self._right, self._example = left, right, example

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        left, equals, right = value.partition("=")
        if not equals:
            self.fail(f"'{value}' has no equals sign; write for example '{self._example}'", param, ctx)
        return self._left.convert(left.strip(), param, ctx), self._right.convert(right.strip(), param, ctx)


class Named(_Type):
    """One of these names; of a misspelt one it says which was meant."""

    name = "name"

    def __init__(self, names: Sequence[str], what: str) -> None:
        self._names, self._what = tuple(names), what

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if value not in self._names:
            self.fail(unknown(value, self._names, self._what), param, ctx)
        return value


@dataclass(frozen=True)
class Question:
    """What is asked, the option that answers it beforehand, and the suggested answer."""

    option: str
    text: str
    offered: str
    kind: _Type


class _Asked(click.Option):
    """Asked for unless it is given, or unless all suggested answers are taken."""

    def prompt_for_value(self, ctx: click.Context) -> Any:
        if ctx.meta.get(_TAKE_OFFERED):
            return self.type_cast_value(ctx, self.get_default(ctx))
        try:
            return super().prompt_for_value(ctx)
        except click.Abort:
            if sys.stdin.isatty():
                raise
            message = f"nobody answers '{self.prompt}'; give {self.opts[0]}, or --yes to accept the defaults"
            raise click.UsageError(message, ctx) from None


def asking(questions: Sequence[Question]) -> Callable[[_F], _F]:
    """Options that are asked for in this order, and `--yes`, which asks nothing."""

    def decorate(command: _F) -> _F:
        for each in reversed(questions):
            command = _option(each)(command)
        return _yes(command)

    return decorate


def take_offered(context: click.Context) -> None:
    """Ask nothing from now on: the suggested answers are taken."""
    context.meta[_TAKE_OFFERED] = True


def _take_offered(context: click.Context, _option: click.Parameter, taken: bool) -> None:
    if taken:
        take_offered(context)


_yes = click.option(
    "--yes",
    "-y",
    is_flag=True,
    is_eager=True,  # before anything is asked
    expose_value=False,
    callback=_take_offered,
    help="Ask nothing: accept the defaults.",
)


def _option(question: Question) -> Callable[[_F], _F]:
    return click.option(
        question.option,
        cls=_Asked,
        type=question.kind,
        prompt=question.text,
        default=question.offered,
        show_default=True,
        help=f"{question.text}.",
    )
