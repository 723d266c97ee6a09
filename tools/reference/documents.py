"""The reference of each kind of document: every key, a section for each mapping that has many."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from benchctl.documents.schema import Kind, schema_of
from tools.reference.keys import Form, Key, Reader, Section
from tools.reference.markdown import WRITTEN, code, codes, prose, sentence, table

HEAD = ("key", "takes", "default", "range", "meaning")
_ABOUT: dict[Kind, str] = {
    "sequence": "What to do, in order, and within which limits. How to write one: [sequences](../sequences.md).",
    "bench": "Your instruments, what is wired to what, and what the bench can bear. How to write one: "
    "[your own bench](../own-bench.md).",
    "calibration": "What you have measured of your own load resistors, probes, clamp and supply leads. "
    "`benchctl calibrate` writes it: [your own bench](../own-bench.md).",
    "amplifier": "The rating plate, and what the amplifier can bear. How to write one: "
    "[your own bench](../own-bench.md).",
}
_HOW_TO_READ = (
    "`a.b` is the key `b` under `a`; `a[].b` is the key `b` of each entry of the list under `a`; `NAME` is a name that "
    "you give. `required` means: wherever what holds the key is given. How values are written stands in "
    "[the reference](README.md#how-values-are-written).\n\n"
)


def page(kind: Kind) -> str:
    """The page of one kind of document."""
    schema = schema_of(kind)
    reader = Reader(schema)
    reader.section("", schema)
    body = "".join(map(_section, reader.sections))
    return f"# {kind.capitalize()} file\n\n{WRITTEN}{_ABOUT[kind]}\n\n{_HOW_TO_READ}{body}".rstrip() + "\n"


def _section(section: Section) -> str:
    also = f"The same under {codes(section.also)}.\n\n" if section.also else ""
    meaning = f"{sentence(section.meaning)}\n\n" if section.meaning else ""
    if len(section.forms) == 1:
        return f"## {section.path}\n\n{meaning}{also}{keys_table(section.forms[0].keys)}"
    common = _common(section.forms)
    shared = f"Every form has:\n\n{keys_table(common)}" if common else ""
    forms = "".join(_form(form, common) for form in section.forms)
    return f"## {section.path}\n\n{also}{shared}{forms}"


def _common(forms: Sequence[Form]) -> list[Key]:
    """The keys that are the same in all of three forms and more."""
    if len(forms) < 3:
        return []
    return [key for key in forms[0].keys if all(key in form.keys for form in forms)]


def _form(form: Form, common: Iterable[Key]) -> str:
    title = f"**{code(form.title)}** " if form.title else ""
    own = [key for key in form.keys if key not in common]
    return f"{title}{prose(form.meaning)}\n\n{keys_table(own)}"


def keys_table(keys: Iterable[Key], head: Sequence[str] = HEAD) -> str:
    """A row a key."""
    return table(head, ((code(key.path), *key[1:]) for key in keys))
