"""The question which relays are closed, and the forms of its answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Literal, get_args

from pydantic import BeforeValidator, WithJsonSchema

from benchctl.documents.driver_file.language.answer_keys import ANSWER_KEYS, lines_schema
from benchctl.documents.driver_file.language.answer_reader import read_query
from benchctl.documents.driver_file.language.commands import TAKES, Offer
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.values import WHOLE, WHOLES, Kind
from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.documents.text.words import unknown

Shape = Literal["states", "mask", "closed"]

# A command may name the relays that it switches in any of these ways.
RELAYS: dict[str, Kind] = {"relays": WHOLES, "relay": WHOLE, "mask": WHOLE, "closed_mask": WHOLE}
_ASKED: dict[str, Kind] = {"relays": WHOLES, "relay": WHOLE}
_AS = {
    "enum": [*get_args(Shape)],
    "description": "what the answer holds: `states`, a yes or no for each relay; `mask`, a number with a bit for each; "
    "`closed`, a list of the relays that are closed; `states`, if left out",
}


@dataclass(frozen=True)
class ClosedQuery(Query):
    """Asks which relays are closed."""

    shape: Shape = "states"


def asking_for_closed() -> tuple[BeforeValidator, WithJsonSchema]:
    """The type of `get_closed`."""
    offered = Offer(optional=_ASKED, may_lack=True)
    keys = {"type": "object", "properties": {**ANSWER_KEYS, "as": _AS}, "additionalProperties": False}
    schema = {"anyOf": [*lines_schema(), keys], TAKES: [*_ASKED]}
    return BeforeValidator(lambda value: _read(value, offered)), WithJsonSchema(schema)


def _read(value: Any, offered: Offer) -> ClosedQuery:
    if isinstance(value, ClosedQuery):
        return value
    shape = _shape_of(value)
    rest = {key: entry for key, entry in value.items() if key != "as"} if isinstance(value, Mapping) else value
    query = read_query(rest, offered, "")
    asked = ClosedQuery(**{field.name: getattr(query, field.name) for field in fields(Query)}, shape=shape)
    _check_shape(asked)
    return asked


def _shape_of(value: Any) -> Shape:
    given = value.get("as", "states") if isinstance(value, Mapping) else "states"
    known: tuple[Shape, ...] = get_args(Shape)
    shape = next((each for each in known if each == given), None)
    if shape is None:
        raise PathProblems([PathProblem(("as",), unknown(str(given), known, "form of answer"))])
    return shape


def _check_shape(query: ClosedQuery) -> None:
    """Refuse a question of which nobody can tell which relays its answer is about."""
    if not query:
        return
    names_relays = bool(query.uses) or query.field_of == "relay"
    if query.shape == "states" and not names_relays:
        raise ValueError(
            "the question does not say which relays are meant; put '{relays}' or '{relay}' into it, say "
            "'field: relay' where the answer has a field for each, or 'as: mask' or 'as: closed'"
        )
    if query.shape != "states" and "relay" in query.uses:
        raise ValueError(f"a question about one relay is answered by its state and not 'as: {query.shape}'")
