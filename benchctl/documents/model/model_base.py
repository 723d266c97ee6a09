"""The base of every model: frozen, strict, and able to say what is wrong where.

A model's attribute carries its unit (`every_s`), the document's key does not (`every`): the key is the attribute
less its unit. So one name is written once, and `from`, `for` and `class` are no trouble.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar, Self

from pydantic import BaseModel, ConfigDict, PrivateAttr, ValidationInfo, model_validator

from benchctl.documents.text.position import Position, position_of
from benchctl.documents.text.tree import Table
from benchctl.documents.text.words import unknown
from benchctl.errors import quote

_UNIT_SUFFIX = re.compile(r"_(?:v_per_a|per_k|sa_per_s|k_per_w|j_per_k|k_per_s|v_per_s|v|a|w|ohm|hz|s|c|k|f|h)$")


def key_of(attribute: str) -> str:
    """The document's key for a model's attribute: `every_s` -> `every`."""
    return _UNIT_SUFFIX.sub("", attribute)


@dataclass(frozen=True)
class PathProblem:
    """A fault found by a cross-check: the path from the checked model to the fault, and a sentence.

    It is shown at the value at the end of the path, or at its key if the key itself is wrong.
    """

    path: tuple[str | int, ...]
    message: str
    is_key: bool = False


class PathProblems(ValueError):
    """Raised by a model's own checks; carries any number of faults, each with its path or place."""

    def __init__(self, problems: Iterable[PathProblem], position: Position | None = None) -> None:
        self.problems = tuple(problems)
        self.position = position
        super().__init__("; ".join(problem.message for problem in self.problems))


@dataclass
class Reading:
    """What a reader hands to the models while one file is validated."""

    folder: Path | None = None  # that the file's own references start from
    looks_for_drivers: bool = True
    joins_calibration: bool = True  # with the calibration file that a bench file names
    needs_calibration: bool = True  # that file must be there
    known: Mapping[str, str | tuple[str, ...]] = field(default_factory=dict)  # what references stand for
    amplifier_file: str = "the amplifier file"  # that they come from
    settings: Mapping[str, str] = field(default_factory=dict)  # parameters set for this run
    problems_found: list[tuple[Position, str]] = field(default_factory=list)
    refused: dict[Position, str] = field(default_factory=dict)

    def refuse(self, position: Position, message: str) -> None:
        """Note a fault that is the only one to tell of this place: what follows from it would only confuse."""
        self.problems_found.append((position, message))
        self.refused[position] = message

    def told(self) -> list[tuple[Position, str]]:
        """The faults to tell."""
        return [problem for problem in self.problems_found if self.refused.get(problem[0], problem[1]) == problem[1]]


class Part(BaseModel):
    """A mapping of a document."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        alias_generator=key_of,
        validate_by_name=True,
        validate_by_alias=True,
        validate_default=False,
        defer_build=True,
        allow_inf_nan=False,
    )

    UNWRITTEN: ClassVar[frozenset[str]] = frozenset()  # fields that the reader fills in, never the document
    RENAMED: ClassVar[Mapping[str, str]] = {}  # keys of old -> what is written instead

    @classmethod
    def keys(cls) -> tuple[str, ...]:
        """The keys that a document may give for this part."""
        keys = (info.alias or name for name, info in cls.model_fields.items())
        return tuple(key for key in keys if key not in cls.UNWRITTEN)

    @model_validator(mode="before")
    @classmethod
    def _refuse_unknown_keys(cls, data: Any, info: ValidationInfo) -> Any:
        """Note each unknown key and go on without it, so that every other fault of the file is found too."""
        if not isinstance(data, Table) or not isinstance(info.context, Reading):
            return data
        known = cls.keys()
        strange = [key for key in data if key not in known and key not in cls.UNWRITTEN]
        for key in strange:
            info.context.problems_found.append((position_of(key), cls._strange_key(key, known)))
        return data.without(strange) if strange else data

    @classmethod
    def _strange_key(cls, key: str, known: tuple[str, ...]) -> str:
        if key in cls.RENAMED:
            return f"'{key}' is no key any more; write for example '{cls.RENAMED[key]}'"
        return _strange_key(key, known)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        problems = tuple(self.problems())
        if problems:
            raise PathProblems(problems)
        return self

    def problems(self) -> Iterator[PathProblem]:
        """Faults that only show when several entries are seen together; none unless a model says so."""
        yield from ()


@dataclass(frozen=True)
class Source:
    """Where a document came from: its file (None for text that has none) and its text."""

    name: str
    path: Path | None
    text: str

    @property
    def folder(self) -> Path | None:
        """The folder that the file's own references start from."""
        return None if self.path is None else self.path.parent


class Document(Part):
    """A whole file."""

    _source: Source = PrivateAttr(default=Source("", None, ""))
    _whole_text: str = PrivateAttr(default="")

    @property
    def source(self) -> Source:
        """The file this was read from."""
        return self._source

    @property
    def whole_text(self) -> str:
        """The file as text that needs no other file, which a run keeps."""
        return self._whole_text or self.source.text


_NUMBER_LIKE = re.compile(r"[0-9]+ ?[A-Za-z%]*")


def _strange_key(key: str, known: tuple[str, ...]) -> str:
    if _NUMBER_LIKE.fullmatch(key):
        return f"{quote(key)} is not a key; if it is what follows a decimal comma, write the number with a point"
    first_word = key.split(" ", 1)[0]
    if " " in key and first_word in known:
        return f"a colon is missing in {quote(key)}; write '{first_word}: ...'"
    return unknown(key, known)


def doubled(values: tuple[Any, ...], key: str) -> Iterator[PathProblem]:
    """A misfit for each value that stands in a list for a second time."""
    seen: set[Any] = set()
    for index, value in enumerate(values):
        if value in seen:
            yield PathProblem((key, index), "is in the list twice")
        seen.add(value)
