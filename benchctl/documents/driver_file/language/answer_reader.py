"""Reads a question of a driver file: what is sent, and the keys that say how its answer is taken."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, get_args

from benchctl.documents.driver_file.language.answer_keys import ANSWER_KEYS
from benchctl.documents.driver_file.language.commands import Offer, as_written, is_none, read_templates
from benchctl.documents.driver_file.language.query import BinaryPlace, NumberType, Order, Query
from benchctl.documents.model.fields import read_yes_no
from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.documents.text.words import describe, unknown
from benchctl.errors import quote
from benchctl.quantity import QuantityError, parse_quantity
from benchctl.scpi.answer_form import UNITS, AnswerForm, Base, Quantity, is_same_answer

LONGEST_TIMEOUT_S = 600.0
_SEPARATORS = (",", ";", " ", "/", "|")
_FIELD_VALUES = ("channel", "output", "relay")


def read_query(value: Any, offered: Offer, quantity: Quantity) -> Query:
    """A question as a driver file writes it: a line, a list, or a mapping with `ask`.

    Raises:
        PathProblems: some of its entries cannot be used.
        ValueError: this is no question.
    """
    if isinstance(value, Query):
        return value
    if is_none(value):
        offered.lack()
        return Query()
    keys = value if isinstance(value, Mapping) else {"ask": value}
    problems = [PathProblem((key,), unknown(key, ANSWER_KEYS), is_key=True) for key in keys if key not in ANSWER_KEYS]
    if problems:
        raise PathProblems(problems)
    if "is" in keys:
        return Query(constant=_number(keys["is"], "is"))
    if "ask" not in keys:
        raise ValueError("'ask' is missing: the question to send")
    query = _AnswerReader(keys, quantity).query()
    return replace(query, templates=_asked_templates(keys["ask"], value, offered), written=as_written(value))


def _asked_templates(asked: Any, value: Any, offered: Offer) -> tuple[Any, ...]:
    try:
        templates = read_templates(asked, offered)
    except PathProblems as error:
        inside = ("ask",) if isinstance(value, Mapping) else ()
        raise PathProblems([replace(problem, path=(*inside, *problem.path)) for problem in error.problems]) from None
    answered = [template.is_query for template in templates]
    if not answered[-1] or any(answered[:-1]):
        raise ValueError("a question ends in one message with '?', and none before it has one")
    return tuple(templates)


@dataclass(frozen=True)
class _AnswerReader:
    """Reads the keys beside `ask`; each method one of them."""

    keys: Mapping[str, Any]
    quantity: Quantity

    def query(self) -> Query:
        problems: list[PathProblem] = []

        def read(key: str, reader: Callable[[Any], Any], default: Any) -> Any:
            if key not in self.keys:
                return default
            try:
                return reader(self.keys[key])
            except ValueError as error:
                problems.append(PathProblem((key,), str(error)))
                return default

        form = AnswerForm(quantity=self.quantity)
        field_of = read("field", _field_value, "")
        form = replace(
            form,
            header=read("header", read_yes_no, False),
            separators=read("separator", _separator, form.separators),
            field=None if field_of else read("field", _whole, None),
            after=read("after", _text, ""),
            columns=read("columns", _columns, None),
            base=read("base", _one_of(get_args(Base)), "decimal"),
            bits=read("bits", _bits, ()),
            yes=read("yes", _texts, form.yes),
            no=read("no", _texts, form.no),
            other=read("other", read_yes_no, None),
            unit=read("unit", self._unit, ""),
            times=read("times", lambda value: _number(value, "times"), 1.0),
            plus=read("plus", lambda value: _number(value, "plus"), 0.0),
            no_reading=read("no_reading", _texts, ()),
        )
        place = self._place(read)
        waits, timeout_s = read("waits", read_yes_no, False), read("timeout", _timeout_s, None)
        problems += self._contradictions(form)
        if problems:
            raise PathProblems(problems)
        return Query(form=form, field_of=field_of, place=place, waits=waits, timeout_s=timeout_s)

    def _place(self, read: Callable[[str, Callable[[Any], Any], Any], Any]) -> BinaryPlace | None:
        if "byte" not in self.keys:
            return None
        return BinaryPlace(
            read("byte", lambda value: _whole(value, at_least=0), 0),
            read("type", _one_of(get_args(NumberType)), "float32"),
            read("order", _one_of(get_args(Order)), "low_first"),
        )

    def _unit(self, value: Any) -> str:
        name = _text(value)
        wanted = [unit for unit, each in UNITS.items() if not self.quantity or each.quantity == self.quantity]
        if name not in wanted:
            raise ValueError(unknown(name, wanted, "unit"))
        return name

    def _contradictions(self, form: AnswerForm) -> list[PathProblem]:
        problems = [
            PathProblem((key,), f"'{key}' says where the value stands in a block; '{needed}' is missing")
            for key, needed in (("type", "byte"), ("order", "byte"))
            if key in self.keys and needed not in self.keys
        ]
        if ("yes" in self.keys) != ("no" in self.keys):
            given, missing = ("yes", "no") if "yes" in self.keys else ("no", "yes")
            problems.append(
                PathProblem((given,), f"'{missing}' is missing; what means yes and what means no are given together")
            )
        alike = [word for word in form.yes if any(is_same_answer(word, each) for each in form.no)]
        if alike:
            problems.append(PathProblem(("yes",), f"{quote(alike[0])} means both yes and no here"))
        if sum(key in self.keys for key in ("field", "after", "columns")) > 1:
            problems.append(
                PathProblem((), "only one of 'field', 'after' and 'columns' can say where the value stands")
            )
        return problems


def _text(value: Any) -> str:
    if not isinstance(value, str) or not value:
        raise ValueError(f"{describe(value)} is written where a text belongs")
    return str.__str__(value)


def _texts(value: Any) -> tuple[str, ...]:
    texts = tuple(_text(each) for each in value) if isinstance(value, list | tuple) else (_text(value),)
    if not texts:
        raise ValueError("the list is empty")
    return texts


def _number(value: Any, key: str) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        raise ValueError(f"{describe(value)} is written where '{key}' wants a number") from None


def _whole(value: Any, at_least: int = 1) -> int:
    if not is_whole(value) or int(value) < at_least:
        raise ValueError(f"{describe(value)} is written where a whole number from {at_least} belongs")
    return int(value)


def _field_value(value: Any) -> str:
    """The name of the value that says which field counts, or '' where the field is a number."""
    if is_whole(value):
        return ""
    if value not in _FIELD_VALUES:
        raise ValueError(f"{describe(value)} is no field; give its number from 1, or {', '.join(_FIELD_VALUES)}")
    return str(value)


def _separator(value: Any) -> tuple[str, ...]:
    if value not in _SEPARATORS:
        raise ValueError(f"{describe(value)} is no separator; there are {' '.join(map(quote, _SEPARATORS))}")
    return (str.__str__(value),)


def _columns(value: Any) -> tuple[int, int]:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise ValueError(f"{describe(value)} is written where the first and the last letter belong: [1, 4]")
    first, last = (_whole(each) for each in value)
    if last < first:
        raise ValueError(f"the last letter, {last}, stands before the first, {first}")
    return first, last


def _bits(value: Any) -> tuple[int, ...]:
    return tuple(_whole(each, at_least=0) for each in (value if isinstance(value, list | tuple) else [value]))


def _one_of(known: tuple[str, ...]) -> Callable[[Any], str]:
    def read(value: Any) -> str:
        if value not in known:
            raise ValueError(unknown(str(value), known, "word"))
        return str.__str__(value)

    return read


def _timeout_s(value: Any) -> float:
    try:
        seconds = parse_quantity(str(value), "s")
    except QuantityError as error:
        raise ValueError(str(error)) from None
    if not 0 < seconds <= LONGEST_TIMEOUT_S:
        raise ValueError(f"a timeout lies between 0 s and {LONGEST_TIMEOUT_S:g} s")
    return seconds


def is_whole(entry: Any) -> bool:
    """Whether this is written as a whole number."""
    return isinstance(entry, int) or (isinstance(entry, str) and entry.isdecimal())
