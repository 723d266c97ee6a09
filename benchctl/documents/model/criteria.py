"""Criteria as a technician writes them: `below 2.5 A`, `within 50 mV`, `above 140 W`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, WithJsonSchema

from benchctl.documents.model.fields import reading_as
from benchctl.documents.model.figures import FIGURES
from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.documents.text.words import describe, unknown
from benchctl.errors import quote
from benchctl.quantity import example, parse_quantity, pattern_for, render, render_time, units_in_words

# What an editor is to say where a text does not match its pattern; a validator that does not know it passes it over.
PATTERN_MESSAGE = "patternErrorMessage"

Relation = Literal["below", "above", "within", "outside"]
RELATIONS: tuple[Relation, ...] = get_args(Relation)

# What a step may be called, so that criteria of later steps can name it.
STEP_NAME = r"[a-z][a-z0-9_]*"

# Every figure a criterion may name, with the unit its bound is written in.
FIGURE_UNITS: Mapping[str, str] = {name: figure.unit for name, figure in FIGURES.items()}


# Figures that are 1 where all is well: within 1 dB is a little above 1 as well as a little below.
ABOUT_ONE = frozenset({"channel_balance"})


class Criterion(BaseModel):
    """A bound on one value: `relation` to `bound`, in base `unit`.

    `about_one`: to be within a bound, which is more than 1, means to be neither above it nor below its inverse.
    `of`: the name of an earlier step whose like figure the bound is told from; `is_part`: as a part of that figure.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)

    relation: Relation
    bound: float
    unit: str
    about_one: bool = False
    of: str = ""
    is_part: bool = False

    def holds(self, value: float) -> bool:
        """Whether `value`, in the criterion's unit, keeps the bound; NaN keeps none."""
        if self.about_one:
            return 1.0 / self.bound <= value <= self.bound
        match self.relation:
            case "below":
                return value < self.bound
            case "above":
                return value > self.bound
            case "within":
                return abs(value) <= self.bound
            case _:
                return abs(value) > self.bound

    def __str__(self) -> str:
        told = f"{self.relation} {self._bound_in_words()}"
        return f"{told} of {self.of}" if self.of else told

    def _bound_in_words(self) -> str:
        if self.is_part:
            return render(self.bound, "1")
        return render_time(self.bound) if self.unit == "s" else render(self.bound, self.unit)


def parse_criterion(text: str, unit: str, relations: tuple[Relation, ...] = RELATIONS) -> Criterion:
    """Read `below 2.5 A` with its bound in `unit`.

    Raises:
        ValueError: no such relation, or no quantity of the unit behind it; the message says what would be right.
    """
    word, _, rest = text.strip().partition(" ")
    relation = next((known for known in relations if known == word), None)
    if relation is None:
        wanted = " or ".join(relations)
        raise ValueError(
            f"{describe(text)} does not begin with {wanted}; write for example '{relations[0]} {example(unit)}'"
        )
    bound = parse_quantity(rest.strip(), unit)
    if relation in ("within", "outside") and bound <= 0:
        raise ValueError(f"{quote(text)}: a bound to both sides of zero must be above zero")
    return Criterion(relation=relation, bound=bound, unit=unit)


def _written_as(unit: str, *relations: Relation, bound: str = "") -> tuple[BeforeValidator, WithJsonSchema]:
    """`bound`: an example of one, where the unit's own would mislead."""
    schema = _schema(unit, relations, f"{relations[0]} {bound or example(unit)}")
    return reading_as(lambda text: parse_criterion(text, unit, relations)), WithJsonSchema(schema)


def _schema(unit: str, relations: tuple[Relation, ...], shown: str, *, of_earlier: bool = False) -> dict[str, Any]:
    """Of a criterion as it is written; `shown` is an example."""
    pattern = f"^({'|'.join(relations)}) +{pattern_for(unit).removeprefix('^')}"
    if of_earlier:
        own, part = (pattern_for(each).removeprefix("^").removesuffix("$") for each in (unit, "1"))
        pattern = f"^({'|'.join(relations)}) +({own}|({own}|{part}) +of +{STEP_NAME})$"
    message = f"{' or '.join(relations)} and then {units_in_words(unit)} belongs here"
    return {
        "type": "string",
        "pattern": pattern,
        PATTERN_MESSAGE: message,
        "examples": [shown],
        "unit": unit,
        "relations": list(relations),
    }


BelowCelsius = Annotated[Criterion, *_written_as("degC", "below")]
WithinKelvins = Annotated[Criterion, *_written_as("K", "within")]
BelowAmperes = Annotated[Criterion, *_written_as("A", "below")]
WithinVolts = Annotated[Criterion, *_written_as("V", "within")]
WithinAmperes = Annotated[Criterion, *_written_as("A", "within")]
SomeChannels = Annotated[Criterion, *_written_as("", "above", "below", bound="1")]

Expectations = Mapping[str, Criterion]


def expecting(*figures: str) -> tuple[BeforeValidator, WithJsonSchema]:
    """The type of an `expect:` mapping over some figures: `Annotated[Expectations, *expecting("thd_n")]`."""
    properties = {
        name: {
            **_schema(FIGURE_UNITS[name], RELATIONS, FIGURES[name].example, of_earlier=True),
            "description": FIGURES[name].meaning,
        }
        for name in figures
    }
    schema = {"type": "object", "additionalProperties": False, "properties": properties}
    return BeforeValidator(lambda value: _read_expectations(value, figures)), WithJsonSchema(schema)


def _read_expectations(value: Any, figures: tuple[str, ...]) -> Any:
    if not isinstance(value, dict):
        raise ValueError(
            f"{describe(value)} is written where figures and their criteria belong, such as '{{thd_n: below 1 %}}'"
        )
    problems: list[PathProblem] = []
    criteria: dict[str, Criterion] = {}
    for name, criterion in value.items():
        try:
            criteria[name] = _read_expectation(name, criterion, figures)
        except ValueError as error:
            problems.append(PathProblem((name,), str(error)))
    if problems:
        raise PathProblems(problems)
    return criteria


def _read_expectation(name: str, criterion: Any, figures: tuple[str, ...]) -> Criterion:
    if name not in figures:
        raise ValueError(unknown(name, figures, "figure"))
    if isinstance(criterion, Criterion):
        return criterion
    if not isinstance(criterion, str):
        raise ValueError(f"{describe(criterion)} is written where one criterion belongs")
    own, _, of = criterion.partition(" of ")
    if of:
        return _of_earlier(own, of.strip(), FIGURE_UNITS[name])
    return criterion_of(name, criterion)


def criterion_of(figure: str, text: str) -> Criterion:
    """The criterion that `text` is of a figure that is known, with a bound of its own.

    Raises:
        ValueError: it is none; the message says what would be right.
    """
    parsed = parse_criterion(text, FIGURE_UNITS[figure])
    return _about_one(parsed, text) if figure in ABOUT_ONE and parsed.relation == "within" else parsed


def _of_earlier(own: str, of: str, unit: str) -> Criterion:
    """`within 5 % of cold_idle`, or `within 50 mA of cold_idle`."""
    if not re.fullmatch(STEP_NAME, of):
        raise ValueError(f"{quote(of)} is no name of a step; write for example 'within 5 % of cold_idle'")
    is_part = own.rstrip().endswith("%")
    parsed = parse_criterion(own, "1" if is_part else unit)
    if not is_part and parsed.relation in ("below", "above"):
        raise ValueError(f"{quote(own)}: below or above an earlier figure is told in %, such as 'below 110 % of {of}'")
    return parsed.model_copy(update={"of": of, "is_part": is_part, "unit": unit})


def _about_one(criterion: Criterion, text: str) -> Criterion:
    if criterion.bound <= 1.0:
        raise ValueError(f"{quote(text)}: the figure is 1 where all is well; write for example 'within 1 dB'")
    return criterion.model_copy(update={"about_one": True})
