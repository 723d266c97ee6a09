"""The reference of driver files: for each role, and for each form of it, the commands with what they are given."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl import library
from benchctl.documents.reader import load_driver
from benchctl.documents.schema import schema_of
from tools.reference.documents import keys_table
from tools.reference.keys import Reader, Schema
from tools.reference.markdown import WRITTEN, code, codes, sentence, table

_ABOUT = """\
# Driver file

{written}The commands of one family of instruments in one role. How to write one: [drivers](../drivers.md).

A command is a text, or a list of texts that are sent one after the other. Words in braces are filled in, as Python
formats them. A command must use each word that its row names, so that no setting is lost; `{{output}}` of a supply and
`{{channel}}` of a thermometer may be left out where there is only one. A command whose name begins with `get_` or
`measure` is a question: its last text, and only that one, is answered.

"""


def page() -> str:
    """The page of driver files."""
    schema = schema_of("driver")
    reader = Reader(schema)
    forms = [reader.followed(form) for form in schema["anyOf"]]
    return (_ABOUT.format(written=WRITTEN) + "".join(_form(form, reader) for form in forms)).rstrip() + "\n"


def _form(form: Schema, reader: Reader) -> str:
    fixed = {name: says["const"] for name, says in form["properties"].items() if "const" in says and name != "benchctl"}
    others = {name: says for name, says in form["properties"].items() if name != "commands"}
    commands = reader.followed(form["properties"]["commands"])
    heading = ", ".join(fixed.values())
    shipped = codes(_shipped(fixed["role"], form["description"]))
    keys = keys_table(reader.keys({**form, "properties": others}, ""))
    about = f"{sentence(form['description'])} Shipped: {shipped}."
    told = f"### Commands of {heading}\n\n{sentence(commands['description'])}"
    return f"## {heading}\n\n{about}\n\n{keys}{told}\n\n{_commands(commands)}"


def _shipped(role: str, description: str) -> Iterator[str]:
    """The shipped drivers of this form."""
    for name in library.shipped("drivers"):
        driver = load_driver(name)
        if driver.role == role and driver.__doc__ == description:
            yield name


def _commands(commands: Schema) -> str:
    needed = commands.get("required", ())
    rows = (
        (code(name), "required" if name in needed else "", says["description"], _example(says))
        for name, says in commands["properties"].items()
    )
    return table(("command", "", "does", "for example"), rows)


def _example(says: Schema) -> str:
    first = says.get("examples", [""])[0]
    return "<br>".join(code(text) for text in ([first] if isinstance(first, str) else first) if text)
