"""What a driver file says of an oscilloscope's records: `samples`, how they are sent, and `memory`, their lengths."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

from pydantic import BeforeValidator, GetCoreSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema, core_schema

from benchctl.documents.driver_file.language.answer_keys import ANSWER_KEYS
from benchctl.documents.driver_file.language.answer_reader import read_query
from benchctl.documents.driver_file.language.commands import Offer
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.values import WHOLE
from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.documents.text.words import describe, unknown
from benchctl.errors import quote
from benchctl.scpi.answer_form import is_same_answer

SampleType = Literal["int8", "uint8", "int16", "uint16", "float32", "float64", "text"]
SampleOrder = Literal["low_first", "high_first"]
SAMPLE_TYPES: tuple[SampleType, ...] = get_args(SampleType)
ORDERS: tuple[SampleOrder, ...] = get_args(SampleOrder)
# Bytes of a sample; text has no fixed width.
SAMPLE_BYTES: Mapping[str, int] = {"int8": 1, "uint8": 1, "int16": 2, "uint16": 2, "float32": 4, "float64": 8}
# Samples of these types are volts and need no scale.
VOLTS = ("float32", "float64", "text")

AUTO = "auto"
_KEYS = ("type", "order", "chunk", "skip")
_MEMORY_KEYS = ("table", "shared")
_OF_CHANNEL = Offer(optional={"channel": WHOLE})


@dataclass(frozen=True)
class Choice:
    """What is told, or asked of the instrument.

    Attributes:
        told: what it may be; the first one counts, unless something else decides.
        query: what asks for it; empty if nothing does.
        answers: the answer that means each.
    """

    told: tuple[str, ...]
    query: Query = field(default_factory=Query)
    answers: Mapping[str, str] = field(default_factory=dict)

    def meaning(self, answer: str) -> str:
        """What an answer means.

        Raises:
            ValueError: none of those that are known.
        """
        picked = self.query.form.picked(answer)
        for meaning, word in self.answers.items():
            if is_same_answer(picked, word):
                return meaning
        raise ValueError(f"{picked[:40]!r} means none of {', '.join(self.answers)}")


@dataclass(frozen=True)
class Samples:
    """How samples are sent.

    Attributes:
        type: the type of a sample; where several may come, the one that fits the length.
        order: which byte of a sample comes first.
        chunk: the most samples of one answer; None: a record comes whole.
        skip: bytes before the first sample of each answer.
    """

    type: Choice = Choice(("int16",))
    order: Choice = Choice(("low_first",))
    chunk: int | None = None
    skip: int = 0

    @property
    def are_volts(self) -> bool:
        """Whether no scale is needed."""
        return all(each in VOLTS for each in self.type.told)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.is_instance_schema(cls)


@dataclass(frozen=True)
class Memory:
    """The lengths of record that can be set.

    Attributes:
        lengths: in samples, from the shortest; none: any.
        words: what the instrument calls each of them; none: their numbers.
        is_automatic: the length follows by itself and cannot be set.
        is_shared: a length is divided by the channels that are shown.
    """

    lengths: tuple[int, ...] = ()
    words: tuple[str, ...] = ()
    is_automatic: bool = False
    is_shared: bool = False

    def length_for(self, samples: int, channels: int, most: int) -> int:
        """The length to set for a record of so many samples: the next that is no shorter, as far as there is one.

        Args:
            samples: what is wanted of each channel.
            channels: how many are recorded.
            most: what the bench file says that there is for each channel.
        """
        if not self.lengths:
            return min(samples, most)
        share = channels if self.is_shared else 1
        usable = [length for length in self.lengths if length <= most * share] or [self.lengths[0]]
        return next((length for length in usable if length >= samples * share), usable[-1])

    def samples_of(self, length: int, channels: int) -> int:
        """The samples that each channel gets of a length."""
        return length // channels if self.is_shared else length

    def word_of(self, length: int) -> str:
        """What the instrument calls a length; '' where it has no words."""
        return self.words[self.lengths.index(length)] if self.words else ""

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.is_instance_schema(cls)


# -- samples -----------------------------------------------------------------------------------------------------------


def read_samples(value: Any) -> Any:
    """`int16`, or `{type: ..., order: ..., chunk: ..., skip: ...}`.

    Raises:
        ValueError: anything else.
    """
    if isinstance(value, Samples):
        return value
    keys = value if isinstance(value, Mapping) else {"type": value}
    problems = [PathProblem((key,), unknown(key, _KEYS), is_key=True) for key in keys if key not in _KEYS]
    found: dict[str, Any] = {}
    for key, reader in _READERS.items():
        if key in keys:
            try:
                found[key] = reader(keys[key])
            except PathProblems as error:
                problems += [PathProblem((key, *each.path), each.message, each.is_key) for each in error.problems]
            except ValueError as error:
                problems.append(PathProblem((key,) if isinstance(value, Mapping) else (), str(error)))
    if problems:
        raise PathProblems(problems)
    return Samples(**found)


def _choice(value: Any, known: Sequence[str], what: str) -> Choice:
    if isinstance(value, Mapping):
        return _asked(value, known)
    texts = [str.__str__(each) for each in (value if isinstance(value, list | tuple) else [value]) if each is not None]
    for text in texts:
        if text not in known:
            raise ValueError(unknown(text, known, what))
    if not texts:
        raise ValueError(f"{describe(value)} is written where a {what} belongs")
    return Choice(tuple(texts))


def _asked(value: Mapping[str, Any], known: Sequence[str]) -> Choice:
    """`{ask: Q, int8: 1, int16: 2}`."""
    question = {key: entry for key, entry in value.items() if key in ANSWER_KEYS}
    answers = {str(key): entry for key, entry in value.items() if key not in ANSWER_KEYS}
    problems = [PathProblem((key,), unknown(key, known), is_key=True) for key in answers if key not in known]
    if problems:
        raise PathProblems(problems)
    if len(answers) < 2:
        raise ValueError("what is asked for has two answers or more, each with what it means")
    texts = {meaning: str(answer) for meaning, answer in answers.items()}
    for meaning, word in texts.items():
        if any(other != meaning and is_same_answer(word, each) for other, each in texts.items()):
            raise ValueError(f"{quote(word)} means two things here")
    return Choice(tuple(answers), read_query(question, _OF_CHANNEL, ""), texts)


def _whole(value: Any, least: int) -> int:
    text = str(value).replace("_", "")
    if not text.isdecimal() or int(text) < least:
        raise ValueError(f"{describe(value)} is written where a whole number from {least} belongs")
    return int(text)


def _bytes(value: Any) -> int:
    return _whole(str(value).removesuffix("bytes").removesuffix("byte").strip(), 0)


_READERS: Mapping[str, Callable[[Any], Any]] = {
    "type": lambda value: _choice(value, SAMPLE_TYPES, "type of sample"),
    "order": lambda value: _choice(value, ORDERS, "order of bytes"),
    "chunk": lambda value: _whole(value, 100),
    "skip": _bytes,
}


# -- memory ------------------------------------------------------------------------------------------------------------


def read_memory(value: Any) -> Any:
    """`auto`, a list of lengths, words with their lengths, or `{table: ..., shared: yes}`.

    Raises:
        ValueError: anything else.
    """
    if isinstance(value, Memory):
        return value
    if value == AUTO:
        return Memory(is_automatic=True)
    if isinstance(value, Mapping) and "table" in value:
        strange = [key for key in value if key not in _MEMORY_KEYS]
        if strange:
            raise PathProblems([PathProblem((key,), unknown(key, _MEMORY_KEYS), is_key=True) for key in strange])
        return _table(value["table"], is_shared=str(value.get("shared", "no")).lower() in ("yes", "true"))
    return _table(value, is_shared=False)


def _table(value: Any, *, is_shared: bool) -> Memory:
    if isinstance(value, Mapping):
        pairs = sorted((_whole(length, 100), str(word)) for word, length in value.items())
        return Memory(tuple(length for length, _ in pairs), tuple(word for _, word in pairs), is_shared=is_shared)
    lengths = tuple(sorted(_whole(each, 100) for each in (value if isinstance(value, list | tuple) else [value])))
    if not lengths:
        raise ValueError("the list of lengths is empty")
    return Memory(lengths, is_shared=is_shared)


# -- what editors see --------------------------------------------------------------------------------------------------

_LENGTH: dict[str, Any] = {"type": "integer", "minimum": 100}
_LENGTHS: list[dict[str, Any]] = [
    {**_LENGTH, "examples": [1_000_000]},
    {"type": "array", "items": _LENGTH, "minItems": 1},
    {"type": "object", "additionalProperties": _LENGTH},
]


def _one_or_asked(known: Sequence[str], says: str) -> dict[str, Any]:
    answers = {
        name: {"type": ["string", "number"], "description": f"the answer that means `{name}`", "examples": ["1"]}
        for name in known
    }
    return {
        "anyOf": [
            {"enum": list(known)},
            {"type": "array", "items": {"enum": list(known)}, "minItems": 1},
            {
                "type": "object",
                "properties": {**ANSWER_KEYS, **answers},
                "required": ["ask"],
                "additionalProperties": False,
            },
        ],
        "description": says,
    }


_SAMPLE_KEYS: dict[str, Any] = {
    "type": _one_or_asked(
        SAMPLE_TYPES, "type of a sample: one, several of which the one counts that fits the length, or a question"
    ),
    "order": _one_or_asked(ORDERS, "which byte of a sample comes first; `low_first`, if left out"),
    "chunk": {
        **_LENGTH,
        "description": "the most samples of one answer; a whole record, if left out",
        "examples": [250_000],
    },
    "skip": {
        "type": ["string", "integer"],
        "description": "bytes before the first sample of an answer; none, if left out",
        "examples": ["12 bytes"],
    },
}
SAMPLES = (
    BeforeValidator(read_samples),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": list(SAMPLE_TYPES)},
                {"type": "object", "properties": _SAMPLE_KEYS, "additionalProperties": False},
            ]
        }
    ),
)
_MEMORY_FORMS: dict[str, Any] = {
    "table": {"anyOf": _LENGTHS, "description": "the lengths, as a list or as words with their lengths"},
    "shared": {
        "enum": ["yes", "no", True, False],
        "description": "whether a length is divided by the channels that are shown",
    },
}
MEMORY = (
    BeforeValidator(read_memory),
    WithJsonSchema(
        {
            "anyOf": [
                {"const": AUTO},
                {"type": "object", "properties": _MEMORY_FORMS, "required": ["table"], "additionalProperties": False},
                *_LENGTHS,
            ]
        }
    ),
)
