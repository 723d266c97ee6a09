"""A driver file made whole: joined with the file that it is based on, and each question with what `answers` says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchctl.documents.driver_file.language.commands import NONE
from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.documents.text.joined import moved, whole_text
from benchctl.documents.text.position import position_of
from benchctl.documents.text.tree import Table, Text

BASED_ON = "based_on"
# These keys are joined entry by entry; any other key replaces the whole of the other file's.
_JOINED = ("commands", "link", "pace", "answers", "steps", "limits")
_OF_EVERY_ANSWER = ("header", "separator", "no_reading")


def joined(own: Table, base: Table) -> Table:
    """`own`, with what it leaves out taken from `base`. Those entries stand where `own` names its base.

    Raises:
        PathProblems: `base` is itself based on a file, or is for another role.
    """
    _check_base(own, base)
    base = moved(base.without(["benchctl", BASED_ON]), position_of(own[BASED_ON]))
    entries = {**base, **own}
    for key in _JOINED:
        ours, theirs = own.get(key), base.get(key)
        if isinstance(ours, Table) and isinstance(theirs, Table):
            entries[key] = Table({**theirs, **ours}.items(), ours.position)
    # A dict keeps the key that came first; own keys must keep their own positions.
    own_keys = {str(key): key for key in own}
    return Table(((own_keys.get(str(key), key), value) for key, value in entries.items()), own.position)


def _check_base(own: Table, base: Table) -> None:
    if BASED_ON in base:
        raise PathProblems(
            [PathProblem((BASED_ON,), f"that file is itself based on '{base[BASED_ON]}'; name a file that is whole")]
        )
    if "role" in own and own["role"] != base.get("role"):
        raise PathProblems([PathProblem((BASED_ON,), f"that file is for the role {base.get('role')}")])


def with_answers(table: Table) -> Table:
    """Each question with what `answers` says of every answer, unless the question says otherwise."""
    answers, commands = table.get("answers"), table.get("commands")
    if not isinstance(answers, Table) or not isinstance(commands, Table):
        return table
    shared = {key: value for key, value in answers.items() if key in _OF_EVERY_ANSWER}
    filled = Table(((name, _filled(value, shared)) for name, value in commands.items()), commands.position)
    return Table(((key, filled if key == "commands" else value) for key, value in table.items()), table.position)


def _filled(value: Any, shared: Mapping[str, Any]) -> Any:
    if isinstance(value, Table):
        if "ask" in value:
            return Table({**shared, **value}.items(), value.position)
        return Table(((name, _filled(entry, shared)) for name, entry in value.items()), value.position)
    if _is_question(value):
        return Table([(Text("ask", position_of(value)), value), *shared.items()], position_of(value))
    return value


def _is_question(value: Any) -> bool:
    last = value[-1] if isinstance(value, list) and value else value
    return isinstance(last, str) and "?" in last and last != NONE


def as_text(table: Table) -> str:
    """The file as YAML, whole: what a run keeps of a driver that is based on another."""
    return whole_text("driver 1", table.without([BASED_ON]))
