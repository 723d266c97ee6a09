"""The reference of the steps of a sequence: what each does, its settings, the figures that it gives, and an example."""

from __future__ import annotations

import inspect
from functools import cache
from typing import Any

from benchctl.documents.schema import schema_of
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.documents.sequence_file.step_form import HOLDERS
from benchctl.documents.sequence_file.steps import STEP_CLASSES
from tools.reference.documents import keys_table
from tools.reference.keys import Reader, Schema
from tools.reference.markdown import WRITTEN, code, codes, prose, table

_HEAD = ("setting", "takes", "default", "range", "meaning")
_ABOUT = """\
# Steps

{written}The steps that a sequence is made of. How to write one: [sequences](../sequences.md). Every value may be taken
from a parameter or from the amplifier file instead, as `{{from: NAME}}`. How values are written stands in
[the reference](README.md#how-values-are-written), what each figure is in [figures](figures.md). A step gives a figure
only where the bench has the instruments and the wiring for it.

"""
_STATES = {"power": "the amplifier on", "load": "a load set", "frequency": "a frequency set"}
# Stands behind a step that holds others, in its example.
_HELD = "steps: [measure_idle]"


def page() -> str:
    """The page of all steps."""
    rows = ((f"[{kind_of(step)}](#{kind_of(step)})", first_sentence(step)) for step in STEP_CLASSES)
    parts = [_ABOUT.format(written=WRITTEN), table(("step", "does"), rows)]
    return "".join([*parts, *map(_step, STEP_CLASSES)]).rstrip() + "\n"


def kind_of(step: type[StepBase]) -> str:
    """What a document calls the step."""
    return str(step.model_fields["kind"].default)


def first_sentence(step: type[StepBase]) -> str:
    """The first paragraph of what its class says."""
    return " ".join(inspect.cleandoc(step.__doc__ or "").split("\n\n")[0].split())


def figures_of(step: type[StepBase]) -> tuple[str, ...]:
    """The figures that `expect` can name."""
    return tuple(settings_of(step).get("properties", {}).get("expect", {}).get("properties", {}))


@cache
def _schema() -> Schema:
    return schema_of("sequence")


def settings_of(step: type[StepBase]) -> dict[str, Any]:
    """What the schema says of the settings behind the step's kind."""
    settings: dict[str, Any] = _schema()["$defs"][f"{step.__name__}Settings"]
    return settings


def _step(step: type[StepBase]) -> str:
    parts = (
        f"## {kind_of(step)}",
        prose(inspect.cleandoc(step.__doc__ or "")),
        f"```yaml\n- {example(step)}\n```",
        "The steps that it holds stand beside it, under `steps`." if kind_of(step) in HOLDERS else "",
        _needs(step),
        _settings_table(step),
        _gives(step),
    )
    return "\n\n".join(part.rstrip() for part in parts if part) + "\n\n"


def example(step: type[StepBase]) -> str:
    """The step with its required settings alone, as a sequence has it."""
    kind, settings = kind_of(step), settings_of(step)
    given = {name: _example(settings["properties"][name]) for name in settings.get("required", ())} or _CHOSEN.get(kind)
    if kind in ("note",):
        return f"{kind}: {_example(settings)}"
    if not given:
        return kind
    written = ", ".join(f"{name}: {value}" for name, value in given.items())
    return f"{kind}: {{{written}}}" + (f"\n  {_HELD}" if kind in HOLDERS else "")


# Steps of whose settings any one will do.
_CHOSEN = {
    "set": {"load": "4 ohm", "frequency": "1 kHz"},
    "settle": {"heatsink": "within 1 K"},
    "require": {"idle_current": "below 3 A"},
    "when": {"idle_current": "below 3 A"},
    "sweep": {"load": "[4 ohm, 2 ohm]", "frequency": "[100 Hz, 1 kHz]"},
}


def _example(says: Schema) -> str:
    """What the schema shows, in a list where it is a list."""
    if "examples" in says:
        return str(says["examples"][0])
    forms = (form for form in says.get("anyOf", [says]) if "items" in form)
    return f"[{', '.join(_example(form['items']) for form in forms)}]"


def _needs(step: type[StepBase]) -> str:
    before = [_STATES[state] for state in step.STATE]
    needs = f"Needs {_listed([f'the {role}' for role in step.ROLES])}." if step.ROLES else ""
    return f"{needs} Before it: {_listed(before)}." if before else needs


def _listed(words: list[str]) -> str:
    *others, last = words
    return f"{', '.join(others)} and {last}" if others else last


def _settings_table(step: type[StepBase]) -> str:
    settings = settings_of(step)
    if kind_of(step) == "note":
        settings = settings["anyOf"][-1]
    if kind_of(step) in ("require", "when"):
        held = {name: says for name, says in settings["properties"].items() if name in ("amplifier", "bench")}
        figures = (
            f"Any of the [figures](figures.md), each with its criterion, such as {code('idle_current: below 3 A')}."
        )
        return f"{figures}\n\n{keys_table(Reader(_schema()).keys({**settings, 'properties': held}, ''), _HEAD)}"
    return keys_table(Reader(_schema()).keys({"properties": {}, **settings}, ""), _HEAD)


def _gives(step: type[StepBase]) -> str:
    usual = figures_of(step)
    gives = f"Gives {codes(usual)}." if usual else ""
    if not step.AT_TIMES:
        return gives
    own = "If the amplifier's own protection acts, it gives"
    when = "With `predicted_end` it gives" if kind_of(step) == "settle" else own
    return f"{gives} {when} {codes(step.AT_TIMES)}.".strip()
