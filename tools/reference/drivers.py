"""The reference of driver files: what every one may say, how answers are taken, and the commands of each role."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from benchctl import library
from benchctl.documents.driver_file.common import DriverFile
from benchctl.documents.driver_file.language.answer_keys import ANSWER_KEYS
from benchctl.documents.driver_file.language.steps import SETTINGS
from benchctl.documents.driver_file.language.values import REAL, WHOLE, Kind, spellings
from benchctl.documents.reader import load_driver
from benchctl.documents.schema import schema_of_whole
from benchctl.quantity import units_in_words
from benchctl.scpi.answer_form import UNITS
from tools.reference.documents import keys_table
from tools.reference.keys import Key, Reader, Schema, Section, takes
from tools.reference.markdown import WRITTEN, code, codes, sentence, table

_ABOUT = """\
# Driver file

{written}The commands of one family of instruments in one role. How to write one: [drivers](../drivers.md).

A command is a text, or a list of texts that are sent one after the other, or `{{send: TEXT, settle: TIME}}` where the
instrument needs quiet after it. `none` says that the instrument lacks it. Words in braces are filled in, as Python
formats them. A command must use each value that its row names, in any of its units, so that no setting is lost;
`{{output}}` of a supply and `{{channel}}` of a thermometer may be left out where there is only one. A command whose
name begins with `get_` or `measure` is a question: its last text, and only that one, is answered.

"""
# Keys that differ from role to role only in the settings or values that they name.
_BY_ROLE = ("confirm", "steps", "limits")


def page() -> str:
    """The page of driver files."""
    schema = schema_of_whole("driver")
    reader = Reader(schema)
    forms = [reader.followed(form) for form in schema["anyOf"]]
    common = _common_keys(forms)
    parts = [
        _ABOUT.format(written=WRITTEN),
        _shipped_drivers(),
        f"## Every driver file\n\n{keys_table(_keys(forms[0], reader, [*common, *_BY_ROLE]))}",
        *map(_section, reader.sections),
        _answers(),
        _values(),
        _settings(),
        _common_commands(forms, reader),
        *(_form(form, reader, common) for form in forms),
    ]
    return "".join(parts).rstrip() + "\n"


def _shipped_drivers() -> str:
    drivers = {name: load_driver(name) for name in library.shipped("drivers")}
    rows = (
        (code(name), driver.title, codes(name for name, words in driver.commands if _is_none(driver, name, words)))
        for name, driver in drivers.items()
    )
    return (
        "## Drivers that ship\n\nChoose by how your instrument speaks: compare the driver's words with those of its "
        "programming manual.\n\n" + table(("driver", "for", "lacks"), rows)
    )


def _is_none(driver: DriverFile, name: str, words: object) -> bool:
    return name in driver.common.model_fields_set and not words


def _section(section: Section) -> str:
    keys = map(_plainly, section.forms[0].keys)
    return f"## {section.path}\n\n{sentence(section.meaning)}\n\n{keys_table(keys)}"


def _common_keys(forms: Iterable[Schema]) -> list[str]:
    """The keys that mean the same in every form, in order."""
    first, *others = forms
    return [
        name
        for name, says in first["properties"].items()
        if all(other["properties"].get(name) == says for other in others)
    ]


def _keys(form: Schema, reader: Reader, names: Iterable[str]) -> list[Key]:
    told = {name: form["properties"][name] for name in names}
    return [_plainly(key) for key in reader.keys({**form, "properties": told}, "")]


def _plainly(key: Key) -> Key:
    return key._replace(takes=_TAKES.get(key.path, key.takes), default=_YES_NO.get(key.default, key.default))


_YES_NO = {"`True`": "`yes`", "`False`": "`no`"}
_TAKES = {
    "confirm": "QUESTION: answer or list of answers",
    "steps": "SETTING: a multiple, `1-2-5`, or a list",
    "limits": "SETTING: `[least, most]`",
    "ends": "`LF`, `CR`, `CRLF` or `none`, or `{send: END, receive: END}`",
    "acknowledge": "text, or `{commands: TEXT, questions: TEXT}`",
    **dict.fromkeys(("scpi", "answers.header", "echo"), "`yes` or `no`"),
}


def _answers() -> str:
    rows = ((code(key), _form_of(says), says["description"]) for key, says in ANSWER_KEYS.items())
    return (
        "## How an answer is taken\n\n"
        "A question may be `{ask: TEXT, ...}` with these keys. Several values that are asked for together are a "
        "mapping of their names to questions; a number there is the field of the answer to the `ask` beside it.\n\n"
        + table(("key", "takes", "meaning"), rows)
    )


def _form_of(says: Schema) -> str:
    if "yes" in says.get("enum", ()):
        return "`yes` or `no`"
    return takes(says).replace("number, or dB", "text").replace("list of text", "list of texts")


def _values() -> str:
    bases: dict[str, Kind] = {
        "level_v": REAL, "voltage_v": REAL, "current_a": REAL, "every_s": REAL, "frequency_hz": REAL,
        "resistance_ohm": REAL, "output": WHOLE,
    }  # fmt: skip
    rows = []
    for base, kind in bases.items():
        others = [name for name in spellings({base: kind}) if name != base]
        rows.append((code("{" + base + "}"), codes(("{" + name + "}" for name in others), "or")))
    return (
        "## Values in other units\n\n"
        "A value may be written in another unit, by the name of that unit; every value with the same ending likewise. "
        f"Units that `unit` of an answer takes: {codes(UNITS)}.\n\n" + table(("value", "also written as"), rows)
    )


def _settings() -> str:
    rows = [
        (role, ", ".join(f"{code(name)}{_in(unit)}" for name, unit in settings.items()))
        for role, settings in SETTINGS.items()
        if settings
    ]
    return (
        "## Settings that may have steps and limits\n\n"
        "The program rounds a setting to a step before it sends it: protection and limits down, ranges and time bases "
        "up, the rest to the nearest. What reads back may differ by half a step.\n\n"
        + table(("role", "settings"), rows)
    )


def _in(unit: str) -> str:
    return f" ({units_in_words(unit)})" if unit else ""


def _common_commands(forms: Iterable[Schema], reader: Reader) -> str:
    commands = [reader.followed(form["properties"]["commands"]) for form in forms]
    names = _of_every_role(commands)
    told = {"properties": {name: commands[0]["properties"][name] for name in names}}
    return f"## Commands that every role may have\n\n{_commands(told)}"


def _of_every_role(commands: list[Schema]) -> list[str]:
    first, *others = commands
    return [
        name
        for name, says in first["properties"].items()
        if all(other["properties"].get(name) == says for other in others)
    ]


def _form(form: Schema, reader: Reader, common: Iterable[str]) -> str:
    fixed = {name: says["const"] for name, says in form["properties"].items() if "const" in says and name != "benchctl"}
    own = [name for name in form["properties"] if name not in {*common, *_BY_ROLE, "commands"}]
    commands = reader.followed(form["properties"]["commands"])
    heading = ", ".join(fixed.values())
    shipped = codes(_shipped(fixed["role"], form["description"]))
    about = f"{sentence(form['description'])} Shipped: {shipped}."
    told = f"### Commands of {heading}\n\n{sentence(commands['description'])}"
    every = _of_every_role([reader.followed(each["properties"]["commands"]) for each in _all_forms(reader)])
    own_keys, own_commands = keys_table(_keys(form, reader, own)), _commands(commands, without=every)
    return f"## {heading}\n\n{about}\n\n{own_keys}{told}\n\n{own_commands}"


def _all_forms(reader: Reader) -> list[Schema]:
    return [reader.followed(form) for form in schema_of_whole("driver")["anyOf"]]


def _shipped(role: str, description: str) -> Iterator[str]:
    """The shipped drivers of this form."""
    for name in library.shipped("drivers"):
        driver = load_driver(name)
        if driver.role == role and driver.__doc__ == description:
            yield name


def _commands(commands: Schema, without: Iterable[str] = ()) -> str:
    needed = commands.get("required", ())
    rows = (
        (code(name), "required" if name in needed else "", says["description"], _example(says))
        for name, says in commands["properties"].items()
        if name not in set(without)
    )
    return table(("command", "", "does", "for example"), rows)


def _example(says: Schema) -> str:
    first = says.get("examples", [""])[0]
    if isinstance(first, dict):
        return code(_in_one_line(first))
    return "<br>".join(code(str(text)) for text in ([first] if isinstance(first, str) else first) if text)


def _in_one_line(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_in_one_line(entry)}" for key, entry in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_in_one_line, value)) + "]"
    return str(value)
