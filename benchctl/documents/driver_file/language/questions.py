"""Several questions of a driver file that are asked for together, and the types of all questions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import BeforeValidator, WithJsonSchema

from benchctl.documents.driver_file.language.answer_keys import ANSWER_KEYS, question_schema, questions_schema
from benchctl.documents.driver_file.language.answer_reader import is_whole, read_query
from benchctl.documents.driver_file.language.commands import TAKES, Offer, as_written, is_none, offer
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.templates import Message, Value
from benchctl.documents.driver_file.language.values import Kind
from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.documents.text.words import unknown
from benchctl.scpi.answer_form import Quantity


@dataclass(frozen=True)
class Asked:
    """One exchange that gives one value or several.

    Attributes:
        messages: what is sent; the last one is answered.
        values: name of each value -> its question, for how it is taken.
    """

    messages: tuple[Message, ...]
    values: Mapping[str, Query]


@dataclass(frozen=True)
class Queries:
    """Several values that are asked for together, each with its question. What stands twice is asked once."""

    queries: Mapping[str, Query]
    written: Any = field(default=None, compare=False)

    def __bool__(self) -> bool:
        return any(self.queries.values())

    def __getitem__(self, name: str) -> Query:
        return self.queries[name]

    def __contains__(self, name: str) -> bool:
        return bool(self.queries.get(name))

    def asked(self, **values: Value) -> tuple[Asked, ...]:
        """What is sent for all of them, in order; values without a question are left out."""
        by_messages: dict[tuple[Message, ...], dict[str, Query]] = {}
        for name, query in self.queries.items():
            if query.templates:
                by_messages.setdefault(query.messages(**values), {})[name] = query
        return tuple(Asked(messages, named) for messages, named in by_messages.items())

    @property
    def constants(self) -> dict[str, float]:
        """The values that no question is asked for."""
        return {name: query.constant for name, query in self.queries.items() if query.constant is not None}


def asking(
    *one_of: Mapping[str, Kind],
    quantity: Quantity = "",
    optional: Mapping[str, Kind] | None = None,
    may_lack: bool = False,
    **needed: Kind,
) -> tuple[BeforeValidator, WithJsonSchema]:
    """As `templates.offering`, for a command that is answered: `Annotated[Query, *asking(quantity="V")]`.

    `quantity` is the base unit of the answer, '' for a plain number or a yes or no.
    """
    offered = offer(*one_of, optional=optional, may_lack=may_lack, **needed)
    schema = {"anyOf": question_schema(), TAKES: [*offered.every]}
    return BeforeValidator(lambda value: read_query(value, offered, quantity)), WithJsonSchema(schema)


def asking_for(
    values: Mapping[str, Quantity],
    *,
    extra: Mapping[str, Quantity] | None = None,
    optional: Mapping[str, Kind] | None = None,
    may_lack: bool = False,
    may_be_one_line: bool = True,
    **needed: Kind,
) -> tuple[BeforeValidator, WithJsonSchema]:
    """The type of several values asked for together: `Annotated[Queries, *asking_for({"voltage": "V"})]`.

    Args:
        values: name of each value that must be there -> its base unit.
        extra: as `values`, for values that may be left out.
        optional: values that the questions may take.
        may_lack: whether `none` may be written for all of them.
        may_be_one_line: whether one question may answer all of `values` in order.
        needed: values that the questions must take.
    """
    offered = offer(optional=optional, may_lack=may_lack, **needed)
    group = _Group(values, extra or {}, offered, may_be_one_line)
    return BeforeValidator(group.read), WithJsonSchema(group.schema())


@dataclass(frozen=True)
class _Group:
    values: Mapping[str, Quantity]
    extra: Mapping[str, Quantity]
    offered: Offer
    may_be_one_line: bool

    @property
    def quantities(self) -> Mapping[str, Quantity]:
        return {**self.values, **self.extra}

    def schema(self) -> dict[str, Any]:
        return {"anyOf": questions_schema(self.quantities), TAKES: [*self.offered.every]}

    def read(self, value: Any) -> Any:
        if isinstance(value, Queries):
            return value
        if is_none(value):
            self.offered.lack()
            return Queries({})
        if isinstance(value, Mapping):
            return replace(self._mapped(value), written=as_written(value))
        if not self.may_be_one_line:
            raise ValueError(f"each value is named here: {', '.join(self.values)}")
        return replace(self._in_one_line(value, {}), written=as_written(value))

    def _in_one_line(self, value: Any, pickers: Mapping[str, Any]) -> Queries:
        """One answer holds all values in order."""
        asked = {**pickers, "ask": value}
        many = len(self.values) > 1
        return Queries(
            {
                name: self._with_field(read_query(asked, self.offered, quantity), index if many else None)
                for index, (name, quantity) in enumerate(self.values.items(), start=1)
            }
        )

    def _with_field(self, query: Query, index: int | None) -> Query:
        if index is None:
            return query
        return replace(query, form=replace(query.form, field=index, fields=len(self.values)))

    def _mapped(self, value: Mapping[str, Any]) -> Queries:
        shared = {key: entry for key, entry in value.items() if key in ANSWER_KEYS}
        named = {key: entry for key, entry in value.items() if key not in ANSWER_KEYS}
        if not named and "ask" in shared and self.may_be_one_line:
            return self._in_one_line(shared["ask"], {key: entry for key, entry in shared.items() if key != "ask"})
        problems = [
            PathProblem((name,), unknown(name, (*self.quantities, *ANSWER_KEYS)), is_key=True)
            for name in named
            if name not in self.quantities
        ]
        problems += [PathProblem((), f"'{name}' is missing") for name in self.values if name not in named]
        if problems:
            raise PathProblems(problems)
        return Queries(_all_read({name: self._reader(named[name], shared, name) for name in named}))

    def _reader(self, entry: Any, shared: Mapping[str, Any], name: str) -> Callable[[], Query]:
        return lambda: read_query(_alone(entry, shared), self._offer_to(name), self.quantities[name])

    def _offer_to(self, name: str) -> Offer:
        return replace(self.offered, may_lack=name in self.extra)


def _alone(entry: Any, shared: Mapping[str, Any]) -> Any:
    """One value's question by itself: what the mapping says of all of them, and what the value says of itself."""
    if isinstance(entry, Mapping):
        return {**shared, **entry}
    if is_whole(entry):
        return {**shared, "field": entry}
    if is_none(entry):
        return entry
    return {**shared, "ask": entry}


def _all_read(readers: Mapping[str, Callable[[], Query]]) -> dict[str, Query]:
    """Read every value, and tell the problems of all of them at once."""
    read: dict[str, Query] = {}
    problems: list[PathProblem] = []
    for name, reader in readers.items():
        try:
            read[name] = reader()
        except PathProblems as error:
            problems += [replace(problem, path=(name, *problem.path)) for problem in error.problems]
        except ValueError as error:
            problems.append(PathProblem((name,), str(error)))
    if problems:
        raise PathProblems(problems)
    return read
