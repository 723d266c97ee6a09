"""How a step is written: its kind is the key, its settings the value, and the steps that it holds stand beside it."""

from __future__ import annotations

from typing import Any

from benchctl.documents.model.model_base import PathProblem, PathProblems, Reading
from benchctl.documents.text.position import position_of
from benchctl.documents.text.tree import Table, Text
from benchctl.documents.text.words import describe, unknown
from benchctl.errors import quote

# Steps that hold other steps.
HOLDERS = ("sweep", "repeat", "when")
# What a condition may ask of beside figures: the files.
TRAITS = ("amplifier", "bench")


def unfold(value: Any, kinds: tuple[str, ...], reading: Reading) -> Any:
    """From the document's form, `{hold: {for: 10 s}}`, to the model's, `{kind: hold, for: 10 s}`.

    What does not belong is noted in `reading` and left out, so that the rest of the step is looked at too.

    Raises:
        PathProblems: this is not a step of a known kind with settings.
    """
    if isinstance(value, str):
        value = Table([(value, Text("", position_of(value)))], position_of(value))
    if not isinstance(value, Table) or not value:
        raise ValueError(f"{describe(value)} is written where a step belongs, such as '- hold: {{for: 10 s}}'")
    word, *others = value
    if word not in kinds:
        raise PathProblems([PathProblem((), unknown(word, kinds, "step"))], position_of(word))
    siblings = _siblings(word, others, value, reading)
    if word == "require":
        return Table([("kind", word), ("criteria", value[word])], position_of(value[word]))
    if word == "note" and isinstance(value[word], Text):
        return Table([("kind", word), ("text", value[word])], position_of(value[word]))
    if word == "when" and isinstance(value[word], Table):
        return _with_settings(word, _conditions(value[word]), siblings, reading)
    return _with_settings(word, value[word], siblings, reading)


def _conditions(condition: Table) -> Table:
    """Figures with their criteria stand beside the files' traits in a document; the model has them apart."""
    figures = condition.without(TRAITS)
    traits = [(key, value) for key, value in condition.items() if key in TRAITS]
    return Table([("criteria", figures), *traits] if figures else traits, condition.position)


def _siblings(kind: str, keys: list[str], step: Table, reading: Reading) -> Table:
    """What stands beside the kind: nothing, or the `steps` of a step that holds some."""
    allowed = ("steps",) if kind in HOLDERS else ()
    for key in keys:
        if key not in allowed:
            message = (
                f"{quote(key)} does not belong beside '{kind}'; indent a setting further, or begin a step with '- '"
            )
            reading.problems_found.append((position_of(key), message))
    return step.without(key for key in step if key not in allowed)


def _with_settings(kind: str, settings: Any, siblings: Table, reading: Reading) -> Table:
    if settings == "":
        settings = Table(position=position_of(settings))
    if not isinstance(settings, Table):
        message = f"{describe(settings)} is written where the settings of '{kind}' belong, as in '{{key: value}}'"
        raise PathProblems([PathProblem((), message)], position_of(settings))
    if "kind" in settings:
        message = "'kind' is not written; it is the word before the colon"
        reading.problems_found.append((settings.key_position("kind"), message))
    if kind in HOLDERS and "steps" in settings:
        message = f"the steps of a {kind} stand beside it: give 'steps' the indent of '{kind}'"
        reading.problems_found.append((settings.key_position("steps"), message))
    merged = [("kind", kind), *settings.without(["kind"]).items(), *siblings.items()]
    return Table(merged, settings.position)
