"""What pydantic found, as sentences a technician can act on, each with its place in the file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from benchctl.documents.model.fields import OutOfRange
from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.documents.text.position import Position, position_of
from benchctl.documents.text.tree import Table
from benchctl.documents.text.words import describe, unknown
from benchctl.errors import quote

Found = tuple[Position, str]

# What a type of pydantic's wants, in the words of a document.
_WANTED: Mapping[str, str] = {
    "model_type": "a mapping of keys to values",
    "model_attributes_type": "a mapping of keys to values",
    "dict_type": "a mapping of keys to values",
    "mapping_type": "a mapping of keys to values",
    "tuple_type": "a list, such as '[1, 2]' or lines that begin with '- '",
    "list_type": "a list, such as '[1, 2]' or lines that begin with '- '",
    "string_type": "a text",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "bool_type": "'yes' or 'no'",
    "bool_parsing": "'yes' or 'no'",
}


def sentences(error: ValidationError) -> Iterator[Found]:
    """Each fault in `error` with its place."""
    for details in error.errors(include_url=False):
        if not _is_echo(details):
            yield from _found(details)


def _is_echo(details: ErrorDetails) -> bool:
    """A list called too short only because its entries were refused, each of which has its own sentence."""
    return details["type"] == "too_short" and len(details["input"]) >= details.get("ctx", {}).get("min_length", 0)


def located(problems: Iterable[PathProblem], node: object) -> Iterator[Found]:
    """The faults of a cross-check, placed by walking their paths from `node`."""
    for problem in problems:
        yield _walk(node, problem.path, is_key=problem.is_key), problem.message


def _walk(node: object, path: tuple[str | int, ...], *, is_key: bool = False) -> Position:
    """The place of the value (or the key) at the end of `path`, or of the last node on the way that exists."""
    position = position_of(node)
    for step in path:
        key_position, node = _enter(node, step)
        if node is None:
            return key_position or position
        position = (key_position or position) if is_key and step == path[-1] else position_of(node, position)
    return position


def _enter(node: object, step: str | int) -> tuple[Position | None, object]:
    """Where the entry's key stands, if it has one, and the entry itself, None if there is none."""
    if isinstance(node, Table):
        return (node.key_position(str(step)), node[str(step)]) if step in node else (None, None)
    if isinstance(node, list) and isinstance(step, int) and step < len(node):
        return None, node[step]
    return None, None


def _found(details: ErrorDetails) -> Iterator[Found]:
    value, context = details["input"], details.get("ctx", {})
    cause = context.get("error")
    if isinstance(cause, PathProblems) and cause.position is not None:
        yield from ((cause.position, problem.message) for problem in cause.problems)
    elif isinstance(cause, PathProblems):
        yield from located(cause.problems, value)
    elif isinstance(cause, OutOfRange):
        yield position_of(value), f"{describe(value)} is out of range; {cause}"
    elif isinstance(cause, ValueError):
        yield position_of(value), str(cause)
    elif details["type"] == "union_tag_invalid":
        yield _walk(value, (_names(context["discriminator"])[0],)), _sentence(details)
    else:
        yield position_of(value), _sentence(details)


def _sentence(details: ErrorDetails) -> str:
    found, key, context = describe(details["input"]), _key(details["loc"]), details.get("ctx", {})
    match details["type"]:
        case "missing":
            return f"{quote(key)} is missing here"
        case "too_short":
            return f"{quote(key)} has too few entries: at least {context['min_length']} needed"
        case "too_long":
            return f"{quote(key)} has too many entries: at most {context['max_length']} can be given"
        case kind if kind in _WANTED:
            return f"{found} is written where {_WANTED[kind]} belongs"
        case _:
            return _choice_sentence(details, key, context)


def _choice_sentence(details: ErrorDetails, key: str, context: Mapping[str, Any]) -> str:
    match details["type"]:
        case "extra_forbidden":
            return f"unknown key {quote(key)}"
        case "union_tag_not_found":
            return f"{context['discriminator']} is missing, which says what the rest means"
        case "union_tag_invalid":
            return unknown(str(context["tag"]), _names(str(context["expected_tags"])), "value")
        case "literal_error":
            return _literal_sentence(details["input"], _names(str(context["expected"])))
        case _:
            return f"{describe(details['input'])} is not accepted here: {_plain(details['msg'])}"


def _literal_sentence(value: Any, choices: list[str]) -> str:
    if not isinstance(value, str):
        return f"{describe(value)} is written where one of {', '.join(choices)} belongs"
    return unknown(str(value), choices, "value")


def _names(quoted: str) -> list[str]:
    """The names in pydantic's `'a', 'b' or 'c'`."""
    return quoted.split("'")[1::2]


def _key(path: tuple[int | str, ...]) -> str:
    return next((step for step in reversed(path) if isinstance(step, str)), "")


def _plain(message: str) -> str:
    return message.replace("Input should be", "it should be").replace("Input", "it")
