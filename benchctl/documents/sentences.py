"""What pydantic found, as sentences a technician can act on, each with its place in the file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from benchctl.documents.part import Misfit, Misfits
from benchctl.documents.tree import Place, Table, place_of
from benchctl.documents.words import describe, show, unknown

Fault = tuple[Place, str]

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

_BOUNDS: Mapping[str, tuple[str, str]] = {
    "greater_than": ("more than", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("less than", "lt"),
    "less_than_equal": ("at most", "le"),
}


def sentences(error: ValidationError) -> Iterator[Fault]:
    """Each fault in `error` with its place."""
    for details in error.errors(include_url=False):
        yield from _faults(details)


def located(misfits: Iterable[Misfit], node: object) -> Iterator[Fault]:
    """The faults of a cross-check, placed by walking their paths from `node`."""
    for misfit in misfits:
        yield _walk(node, misfit.path), misfit.message


def _walk(node: object, path: tuple[str | int, ...]) -> Place:
    """The place of the value at the end of `path`, or of the last node on the way that exists."""
    place = place_of(node)
    for step in path:
        if isinstance(node, Table) and step in node:
            place = place_of(node[str(step)], node.key_place(str(step)))
            node = node[str(step)]
        elif isinstance(node, list) and isinstance(step, int) and step < len(node):
            node = node[step]
            place = place_of(node, place)
        elif isinstance(node, Table):
            return next((place_of(key) for key in node if key == step), place)
    return place


def _faults(details: ErrorDetails) -> Iterator[Fault]:
    value = details["input"]
    cause = details.get("ctx", {}).get("error")
    if isinstance(cause, Misfits) and cause.place is not None:
        yield from ((cause.place, misfit.message) for misfit in cause.misfits)
    elif isinstance(cause, Misfits):
        yield from located(cause.misfits, value)
    else:
        yield place_of(value), _sentence(details, cause)


def _sentence(details: ErrorDetails, cause: object) -> str:
    kind, value, context = details["type"], details["input"], details.get("ctx", {})
    key = _key(details["loc"])
    if isinstance(cause, ValueError):
        return str(cause)
    if kind == "missing":
        return f"'{key}' is missing{_known_so_far(value)}"
    if kind in _WANTED:
        return f"{describe(value)} stands where {_WANTED[kind]} belongs"
    if kind in ("too_short", "too_long"):
        return _length_sentence(kind, key, context)
    if kind in _BOUNDS:
        words, bound = _BOUNDS[kind]
        return f"{describe(value)} is out of range; it must be {words} {context.get(bound)}"
    return _choice_sentence(details, key)


def _choice_sentence(details: ErrorDetails, key: str) -> str:
    kind, value, context = details["type"], details["input"], details.get("ctx", {})
    if kind == "extra_forbidden":
        return f"unknown key '{key}'"
    if kind == "union_tag_not_found":
        return f"{context.get('discriminator', 'kind')} is missing, which tells what the rest means"
    if kind == "union_tag_invalid":
        choices = _names(str(context.get("expected_tags", "")))
        return unknown(str(context.get("tag", "")), choices, str(context.get("discriminator", "'kind'")).strip("'"))
    if kind in ("literal_error", "enum"):
        return _literal_sentence(value, _names(str(context.get("expected", ""))))
    return f"{describe(value)} will not do here: {_plain(details['msg'])}"


def _literal_sentence(value: Any, choices: list[str]) -> str:
    if not isinstance(value, str):
        return f"{describe(value)} stands where one of {', '.join(choices)} belongs"
    return unknown(str(value), choices, "value")


def _names(quoted: str) -> list[str]:
    """The names in pydantic's `'a', 'b' or 'c'`."""
    return quoted.split("'")[1::2]


def _length_sentence(kind: str, key: str, context: Mapping[str, Any]) -> str:
    if kind == "too_short":
        return f"'{key}' has too few entries: at least {context.get('min_length')} needed"
    return f"'{key}' has too many entries: at most {context.get('max_length')} can be given"


def _known_so_far(value: Any) -> str:
    if not isinstance(value, dict) or not value:
        return ""
    given = [str(key) for key in value if key != "kind"]
    return f" here, beside {', '.join(map(show, given[:6]))}" if given else ""


def _key(path: tuple[int | str, ...]) -> str:
    return next((step for step in reversed(path) if isinstance(step, str)), "")


def _plain(message: str) -> str:
    return message.replace("Input should be", "it should be").replace("Input", "it")
