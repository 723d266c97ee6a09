"""The keys of a question, `{ask: LINE, ...}`, and of a command, `{send: LINE, settle: ...}`, as editors see them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from benchctl.documents.driver_file.language.templates import LONGEST_TEMPLATE
from benchctl.quantity import pattern_for
from benchctl.scpi.answer_form import UNITS, Base

# In a schema: stands for the definition of this name, which `definitions` has.
DEFINED = "defined"

_LINE: dict[str, Any] = {"type": "string", "maxLength": LONGEST_TEMPLATE}
_YES_NO: dict[str, Any] = {"enum": ["yes", "no", True, False]}
_WHOLE: dict[str, Any] = {"type": "integer", "minimum": 1}
_BIT: dict[str, Any] = {"type": "integer", "minimum": 0}
_TEXT: dict[str, Any] = {"type": ["string", "number"]}
_TEXTS: dict[str, Any] = {"anyOf": [_TEXT, {"type": "array", "items": _TEXT, "minItems": 1}]}
_TIME: dict[str, Any] = {"type": "string", "pattern": pattern_for("s")}


def _lines(says: str, example: Any) -> dict[str, Any]:
    many = {"type": "array", "items": _LINE, "minItems": 1}
    return {"anyOf": [_LINE, many], "description": says, "examples": [example]}


def _key(form: Mapping[str, Any], says: str, *examples: Any) -> dict[str, Any]:
    return {**form, "description": says, **({"examples": list(examples)} if examples else {})}


# Key of a question -> its form and what it says.
ANSWER_KEYS: Mapping[str, dict[str, Any]] = {
    "ask": _lines("the line to send, or a list whose last line is the question", "SOUR:VOLT?"),
    "header": _key(_YES_NO, "yes: the answer begins with a word that does not count"),
    "separator": _key(
        {"enum": [",", ";", " ", "/", "|"]},
        "what stands between two fields; a comma or a semicolon, if left out",
    ),
    "field": _key(
        {"anyOf": [_WHOLE, {"enum": ["channel", "output", "relay"]}]},
        "the field that counts, from 1; or `channel`, `output`, `relay`: the field of that number",
        2,
    ),
    "after": _key(
        _TEXT, "the field behind this word counts, as in `FRQ,1000HZ,AMP,2V`; `=` and `:` part words too", "AMP"
    ),
    "columns": _key(
        {"type": "array", "items": _WHOLE, "minItems": 2, "maxItems": 2},
        "first and last letter of the value, where it always stands in the same place",
        [1, 4],
    ),
    "byte": _key(_BIT, "place of the value in a binary block, from 0", 156),
    "type": _key(
        {"enum": ["int8", "uint8", "int16", "uint16", "int32", "uint32", "float32", "float64"]},
        "how the value is written in a binary block",
    ),
    "order": _key({"enum": ["low_first", "high_first"]}, "which byte of it comes first"),
    "base": _key({"enum": [*get_args(Base)]}, "how the number is written; `byte` is one raw letter"),
    "bits": _key(
        {"anyOf": [_BIT, {"type": "array", "items": _BIT, "minItems": 1}]},
        "the bit that counts, from 0; or a list of bits, any of which counts",
        6,
    ),
    "yes": _key(_TEXTS, "the answer, or a list of answers, that means yes; `1` and `ON`, if left out", "STOP"),
    "no": _key(_TEXTS, "the answer, or a list of answers, that means no; `0` and `OFF`, if left out", ["WAIT", "RUN"]),
    "other": _key(_YES_NO, "what any other answer means; an error, if left out"),
    "unit": _key({"enum": [*UNITS]}, "unit of the number; a unit in the answer itself is read without this"),
    "times": _key({"type": "number"}, "the number is multiplied by this", 0.5),
    "plus": _key({"type": "number"}, "this is added to the number", -273.15),
    "is": _key({"type": "number"}, "the value itself, where the instrument is asked nothing", 4),
    "no_reading": _key(
        _TEXTS, "an answer, or a list of answers, that stands for no reading, besides the usual ones", "-9999"
    ),
    "waits": _key(_YES_NO, "yes: the answer comes only when the instrument is done"),
    "timeout": _key(_TIME, "how long the answer may take", "10 s"),
}
_SENT_KEYS: Mapping[str, dict[str, Any]] = {
    "send": _lines("the line to send, or a list of lines", "relay on {relay}"),
    "settle": _key(_TIME, "quiet after the last of them", "100 ms"),
}


def definitions() -> dict[str, Any]:
    """What the schema of a driver file defines once for all its commands."""
    return {
        "Question": _mapping(ANSWER_KEYS, "a question, and how its answer is taken", []),
        "Sent": _mapping(_SENT_KEYS, "what is sent, and the quiet after it", ["send"]),
    }


def _mapping(keys: Mapping[str, Any], says: str, required: list[str]) -> dict[str, Any]:
    return {
        "type": "object",
        "description": says,
        "properties": {key: dict(form) for key, form in keys.items()},
        "required": required,
        "additionalProperties": False,
    }


def lines_schema() -> list[dict[str, Any]]:
    """One line, or several in order, some with the quiet that they need."""
    return [_LINE, {"type": "array", "items": {"anyOf": [_LINE, {DEFINED: "Sent"}]}, "minItems": 1}]


def command_schema() -> list[dict[str, Any]]:
    """The forms of a command."""
    return [*lines_schema(), {DEFINED: "Sent"}]


def question_schema() -> list[dict[str, Any]]:
    """The forms of a question."""
    return [*lines_schema(), {DEFINED: "Question"}]


def questions_schema(names: Mapping[str, str]) -> list[dict[str, Any]]:
    """The forms of several values asked for together: name -> unit of its value."""
    one = [*question_schema(), _WHOLE]
    named = {
        name: {
            "anyOf": one,
            "description": f"answers the {name}{f', {unit}' if unit else ''}; or the number of its field",
            "examples": [1],
        }
        for name, unit in names.items()
    }
    properties = {**ANSWER_KEYS, **named}
    return [*lines_schema(), {"type": "object", "properties": properties, "additionalProperties": False}]
