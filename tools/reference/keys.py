"""What a schema says of the keys of a document: a row a key, and where a key holds more than fits, a section."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from benchctl.quantity import units_in_words
from tools.reference.markdown import code, codes, slug

Schema = Mapping[str, Any]

# A mapping with more keys than this, however deep, gets a section; so does a smaller one that stands in two places.
MOST_INLINE = 7
MOST_INLINE_TWICE = 3
# What stands for a name that the user gives.
NAME = "NAME"
# What the section of the whole document is called.
ROOT = "The file"
# Units whose spellings with another prefix are left to the page on quantities.
_FAMILIAR = ("V", "A", "ohm", "Hz", "s", "W", "F", "Sa/s")


# What a key holds whose value is a mapping, or has mappings in it.
_KINDS = {"": "keys", "[]": "list, each with keys", f".{NAME}": f"{NAME}: keys"}


class Key(NamedTuple):
    """A key of a document: where it stands, what may be written there, and what it means."""

    path: str
    takes: str
    default: str
    range: str
    meaning: str


@dataclass
class Form:
    """One of the forms that a mapping may have; `title` tells them apart."""

    title: str
    meaning: str
    keys: list[Key]


@dataclass
class Section:
    """A mapping that gets a table of its own, or one for each of its forms."""

    path: str
    meaning: str
    forms: list[Form] = field(default_factory=list)
    also: list[str] = field(default_factory=list)

    @property
    def link(self) -> str:
        """A link to it within its page."""
        return f"[{self.path}](#{slug(self.path)})"


class Reader:
    """Walks through a schema and collects its sections, each before those that it holds."""

    def __init__(self, schema: Schema) -> None:
        self.sections: list[Section] = []
        self._definitions: Schema = schema.get("$defs", {})
        self._made: dict[str, Section] = {}

    def section(self, path: str, schema: Schema, meaning: str = "") -> Section:
        """The section of a mapping, and behind it those of what it holds."""
        made = Section(path or ROOT, meaning)
        self.sections.append(made)
        made.forms = [self._form(choice, path) for choice in self._choices(schema) or [schema]]
        return made

    def keys(self, schema: Schema, path: str, inner: str = "") -> Iterator[Key]:
        """The keys of a mapping; `inner` is what stands before them within their table."""
        required = schema.get("required", ())
        for name, says in schema["properties"].items():
            yield from self._key(says, f"{path}.{name}".lstrip("."), inner + name, required=name in required)

    def _form(self, schema: Schema, path: str) -> Form:
        whole = self.followed(schema)
        required = whole.get("required", ())
        fixed = {name: says["const"] for name, says in whole["properties"].items() if "const" in says}
        fixed = {name: value for name, value in fixed.items() if name in required or name == "benchctl"}
        title = ", ".join(f"{name}: {value}" for name, value in fixed.items() if name != "benchctl")
        keys = [key for key in self.keys(whole, path) if key.path not in fixed or key.path == "benchctl"]
        return Form(title, whole.get("description", ""), keys)

    def _key(self, says: Schema, path: str, inner: str, *, required: bool) -> Iterator[Key]:
        whole = self._plain(says)
        if "items" in whole:
            whole = {**whole, "items": self._item(whole["items"])}
        held, suffix = self._held(whole)
        default = _default(whole, required=required)
        meaning = says.get("description", whole.get("description", ""))
        if held is None:
            yield Key(inner, takes(whole), default, range_of(whole), meaning)
            return
        name = self._name(says)
        if name not in self._made and self._fits(held, name):
            if "description" in says or not required:  # else there is nothing to say of it but what its keys say
                yield Key(inner, _KINDS[suffix], default, range_of(whole), meaning)
            yield from self.keys(held, path + suffix, f"{inner}{suffix}.")
        else:
            section = self._section_of(held, path + suffix, name)
            yield Key(inner, f"{_KINDS[suffix]}: {section.link}", default, range_of(whole), meaning)

    def _section_of(self, held: Schema, path: str, name: str) -> Section:
        if name in self._made:
            self._made[name].also.append(path)
            return self._made[name]
        self._made[name] = made = Section(path, self._definitions.get(name, {}).get("description", ""))
        self.sections.append(made)
        made.forms = [self._form(choice, path) for choice in self._choices(held) or [held]]
        return made

    # -- what a node of the schema is ----------------------------------------------------------------------------------

    def _plain(self, schema: Schema) -> Schema:
        """A node with what it refers to, and without the reference that may stand in its place."""
        whole = self.followed(schema)
        written = [each for each in whole.get("anyOf", ()) if each != {"$ref": "#/$defs/Reference"}]
        if len(written) == 1:
            whole = {**self.followed(written[0]), **{key: value for key, value in whole.items() if key != "anyOf"}}
        return whole

    def followed(self, schema: Schema) -> Schema:
        """A node together with the definition that it refers to."""
        target = schema.get("$ref", "").rpartition("/")[2]
        return {**self._definitions[target], **schema} if target else schema

    def _item(self, items: Schema) -> Schema:
        """An entry of a list, as it is written; one that refers to a definition goes on doing so."""
        return items if "$ref" in items or "oneOf" in items else self._plain(items)

    def _name(self, schema: Schema) -> str:
        """The definition that a node refers to, directly, in a list or in a mapping."""
        whole = self._plain(schema)
        for each in (schema, whole.get("items", {}), whole.get("additionalProperties") or {}):
            if isinstance(each, dict) and "$ref" in each:
                return str(each["$ref"].rpartition("/")[2])
        return str(schema.get("description", id(schema)))

    def _held(self, whole: Schema) -> tuple[Schema | None, str]:
        """The mapping that a node is or holds, and how a path goes on to it."""
        if whole.get("type") == "array":
            return self._mapping(self._plain(whole["items"])), "[]"
        if isinstance(whole.get("additionalProperties"), dict):
            return self._mapping(self._plain(whole["additionalProperties"])), f".{NAME}"
        return self._mapping(whole), ""

    def _mapping(self, whole: Schema) -> Schema | None:
        is_one = "$ref" in whole or self._choices(whole)
        return whole if is_one and ("properties" in whole or self._choices(whole)) else None

    def _choices(self, whole: Schema) -> Sequence[Schema]:
        """The forms of a mapping that has several."""
        forms = whole.get("oneOf") or whole.get("anyOf") or ()
        return forms if forms and all("$ref" in form for form in forms) else ()

    def _fits(self, held: Schema, name: str) -> bool:
        """Whether a mapping's keys are shown in the table of the mapping that holds it."""
        count = self._count(held)
        return count <= (MOST_INLINE_TWICE if self._uses(name) > 1 else MOST_INLINE)

    def _count(self, held: Schema) -> int:
        """How many keys a mapping has in all; more than fit where it has forms."""
        if self._choices(held):
            return MOST_INLINE + 1
        inside = (self._held(self._plain(says))[0] for says in held["properties"].values())
        return sum(1 if each is None else self._count(each) for each in inside)

    def _uses(self, name: str) -> int:
        return _count_references(self._definitions, f"#/$defs/{name}")


def _count_references(node: Any, target: str) -> int:
    if isinstance(node, list):
        return sum(_count_references(each, target) for each in node)
    if not isinstance(node, dict):
        return 0
    return (node.get("$ref") == target) + sum(_count_references(each, target) for each in node.values())


# -- one value -----------------------------------------------------------------------------------------------------


def takes(schema: Schema) -> str:
    """What may be written for a value, in words."""
    if "const" in schema:
        return code(str(schema["const"]))
    if "enum" in schema:
        return codes(map(str, schema["enum"]), "or")
    if "relations" in schema:
        return f"{codes(schema['relations'], 'or')} … {_unit(schema['unit'])}".rstrip()
    if "unit" in schema:
        return _unit(schema["unit"]) or "number"
    return _structure(schema)


def _unit(unit: str) -> str:
    return unit if unit in ("", *_FAMILIAR) else units_in_words(unit)


def _structure(schema: Schema) -> str:
    if "items" in schema:
        items = schema["items"]
        return "list of steps" if items.get("$ref") == "#/$defs/Step" else f"list of {_many(takes(items))}"
    if isinstance(schema.get("additionalProperties"), dict):
        return f"{NAME}: {takes(schema['additionalProperties'])}"
    if "properties" in schema:
        return "figures, each with its criterion"
    if "anyOf" in schema:
        return " or ".join(takes(choice) for choice in schema["anyOf"])
    return _scalar(schema)


def _many(name: str) -> str:
    return {"text": "texts", "whole number": "whole numbers", "number": "numbers"}.get(name, name)


def _scalar(schema: Schema) -> str:
    kind = schema.get("type")
    if schema.get("format") == "date":
        return "date"
    if "pattern" in schema:
        return codes(schema["examples"], "or")
    if kind == ["string", "number"]:
        return "number, or dB"
    return {"integer": "whole number", "number": "number"}.get(kind, "text") if isinstance(kind, str) else "text"


def range_of(schema: Schema) -> str:
    """The range of a value, or how many entries a list may have."""
    items = schema.get("items", {})
    told = schema.get("range") or _from_to(schema.get("minimum"), schema.get("maximum"))
    each = items.get("range") or _from_to(items.get("minimum"), items.get("maximum"))
    entries = _from_to(schema.get("minItems"), schema.get("maxItems"))
    parts = [told, f"each {each}" if each else "", f"entries: {entries}" if entries else ""]
    return "; ".join(part for part in parts if part)


def _from_to(lowest: int | None, highest: int | None) -> str:
    if lowest is not None and highest is not None:
        return f"{lowest} to {highest}"
    return "" if lowest is None else f"at least {lowest}"


def _default(schema: Schema, *, required: bool) -> str:
    if required:
        return "required"
    default = schema.get("default")
    return "" if default in (None, "", {}, []) else code(str(default))
