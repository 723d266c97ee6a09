"""The reference of the sequences that ship: what each finds out, and its parameters as their files have them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import yaml

from benchctl import library
from tools.reference.markdown import WRITTEN, code, slug, table

_ABOUT = """\
# Sequences that ship

{written}Each serves every amplifier: loads, voltages and limits come from the amplifier file. `--set load=2ohm` changes
a parameter for one run; `benchctl preflight` shows what a sequence does before anything is switched on.

"""


def page() -> str:
    """The page of the sequences that ship."""
    sequences = {name: _as_written(name) for name in library.shipped("sequences")}
    rows = ((f"[{name}](#{slug(name)})", sequence["title"]) for name, sequence in sequences.items())
    parts = (_ABOUT.format(written=WRITTEN), table(("sequence", "title"), rows))
    return "".join([*parts, *(_section(name, sequence) for name, sequence in sequences.items())]).rstrip() + "\n"


def _as_written(name: str) -> Mapping[str, Any]:
    """The document with every scalar as text, and references as references: no amplifier file is at hand."""
    text = library.shipped("sequences")[name].read_text(encoding="utf-8")
    document: Mapping[str, Any] = yaml.load(text, yaml.BaseLoader)
    return document


def _section(name: str, sequence: Mapping[str, Any]) -> str:
    parameters = table(("parameter", "default", "range", "what it is"), _rows(sequence["parameters"]))
    return f"## {name}\n\n{' '.join(sequence['purpose'].split())}\n\n{parameters}"


def _rows(parameters: Mapping[str, Mapping[str, Any]]) -> Iterator[tuple[str, str, str, str]]:
    for name, parameter in parameters.items():
        bounds = (("at least", parameter.get("lowest")), ("at most", parameter.get("highest")))
        told = " and ".join(f"{words} {bound}" for words, bound in bounds if bound is not None)
        default = parameter["default"]
        given = default if isinstance(default, str) else code(default["from"])
        yield code(name), given, told, " ".join(parameter["purpose"].split())
