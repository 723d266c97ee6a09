"""JSON Schemas of the documents as they are written, made from the models, for editors that complete and check.

The models know more than a schema can say (a doubled relay, a load below the minimum): `benchctl check` has the last
word. What a schema says follows from the models alone, so the two cannot drift apart.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any, Literal

from pydantic import TypeAdapter

from benchctl import library
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.calibration_file.calibration import Calibration
from benchctl.documents.driver_file.driver import Driver
from benchctl.documents.driver_file.language import answer_keys
from benchctl.documents.driver_file.language.commands import TAKES
from benchctl.documents.model.criteria import PATTERN_MESSAGE, Criterion
from benchctl.documents.model.fields import RANGE, range_in_words
from benchctl.documents.reader import load_driver
from benchctl.documents.sequence_file.references import REFERABLE, STAND_IN
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.documents.sequence_file.step_form import HOLDERS, TRAITS
from benchctl.documents.sequence_file.steps import STEP_CLASSES
from benchctl.quantity import pattern_for, render, units_in_words

Kind = Literal["sequence", "bench", "amplifier", "driver", "calibration"]
Schema = dict[str, Any]

KINDS: tuple[Kind, ...] = ("sequence", "bench", "amplifier", "driver", "calibration")
_MODELS: Mapping[Kind, Any] = {
    "sequence": Sequence,
    "bench": Bench,
    "amplifier": Amplifier,
    "driver": Driver,
    "calibration": Calibration,
}
_DIALECT = "https://json-schema.org/draft/2020-12/schema"
# What pydantic says and an editor does not need.
_NOISE = ("title", "discriminator")
# What a step that holds others has beside its kind.
STEPS: Schema = {"type": "array", "description": "the steps that it holds, in order", "minItems": 1}
# The name of a reference's own schema.
_REFERENCE = "Reference"


def schema_name(kind: Kind) -> str:
    """The file that holds the schema beside documents of the kind."""
    return f"{kind}.schema.json"


def modeline(kind: Kind) -> str:
    """The comment by which an editor with a YAML language server finds the schema beside a document."""
    return f"# yaml-language-server: $schema={schema_name(kind)}\n"


def schema_of(kind: Kind) -> Schema:
    """The JSON Schema (draft 2020-12) of one kind of document."""
    schema = schema_of_whole(kind)
    return _or_based_on(schema) if kind == "driver" else schema


def schema_of_whole(kind: Kind) -> Schema:
    """As `schema_of`, for a document that is based on no other."""
    schema: Schema = json.loads(_text_of_whole(kind))
    return schema


@lru_cache  # it takes a second, and is the same each time; as text nobody can change it
def _text_of_whole(kind: Kind) -> str:
    made = TypeAdapter(_MODELS[kind]).json_schema(by_alias=True, mode="validation")
    definitions = made.pop("$defs", {})
    if kind == "sequence":
        definitions = _steps_as_written(definitions)
        made["properties"]["steps"]["items"] = {"$ref": "#/$defs/Step"}
    if kind == "driver":
        _show_shipped_commands(definitions)
        definitions |= answer_keys.definitions()
    schema = _plain(made)
    plain_definitions = {name: _plain(definition) for name, definition in sorted(definitions.items())}
    if kind == "sequence":
        schema = _with_references(schema)
        plain_definitions = {name: _with_references(each) for name, each in plain_definitions.items()}
        plain_definitions[_REFERENCE] = _reference()
    whole = _with_header(schema, kind, plain_definitions)
    return json.dumps({"$schema": _DIALECT, "title": f"benchctl {kind}", **whole, "$defs": plain_definitions})


# -- from the models' form to the document's ---------------------------------------------------------------------


def _steps_as_written(definitions: Schema) -> Schema:
    """`{kind: hold, for: ...}` becomes `{hold: {for: ...}}`; a step without needed settings may be a bare word."""
    written = dict(definitions)
    forms: list[Schema] = []
    for step in STEP_CLASSES:
        settings = dict(written.pop(step.__name__))
        kind = settings["properties"]["kind"]["const"]
        name = f"{step.__name__}Settings"
        forms.append(_form(kind, name, settings))
        written[name] = _settings(kind, settings)
    bare = [
        step.model_fields["kind"].default for step in STEP_CLASSES if not _needs_settings(definitions[step.__name__])
    ]
    written["Step"] = {"anyOf": [*forms, {"enum": bare, "description": "a step with nothing but defaults"}]}
    return written


def _needs_settings(definition: Schema) -> bool:
    return bool(definition.get("required")) or definition["properties"]["kind"]["const"] in ("set", "settle", *HOLDERS)


def _form(kind: str, name: str, settings: Schema) -> Schema:
    """A step as a mapping of its kind to its settings, with the steps it holds beside it."""
    form: Schema = {
        "type": "object",
        "description": settings.get("description", ""),
        "properties": {kind: {"$ref": f"#/$defs/{name}"}},
        "required": [kind],
        "additionalProperties": False,
    }
    if kind in HOLDERS:
        form["properties"]["steps"] = {**STEPS, "items": {"$ref": "#/$defs/Step"}}
        form["required"] = [kind, "steps"]
    return form


def _settings(kind: str, definition: Schema) -> Schema:
    """What stands behind the kind."""
    properties = {key: value for key, value in definition["properties"].items() if key not in ("kind", "steps")}
    required = [key for key in definition.get("required", ()) if key != "steps"]
    settings: Schema = {**definition, "properties": properties, "required": required}
    if kind == "require":
        return _criteria(properties, {})
    if kind == "when":
        return _criteria(properties, {files: properties[files] for files in TRAITS})
    if kind == "note":
        return {key: properties["text"][key] for key in ("description", "examples")} | {
            "anyOf": [{"type": "string"}, settings]
        }
    return settings


def _criteria(properties: Schema, others: Schema) -> Schema:
    """Figures with their criteria directly behind the kind, as `require` and `when` are written."""
    criteria = properties["criteria"]
    return {**criteria, "properties": {**criteria["properties"], **others}, "minProperties": 1}


def _show_shipped_commands(definitions: Schema) -> None:
    """What the drivers that ship send is the example of each command."""
    for name in library.shipped("drivers"):
        commands = load_driver(name).commands
        settings = definitions[type(commands).__name__]["properties"]
        for command in type(commands).model_fields:
            written = _in_yaml(getattr(commands, command).written)
            if written is not None and written not in settings[command].setdefault("examples", []):
                settings[command]["examples"].append(written)


def _in_yaml(written: Any) -> Any:
    """What a driver file has, with its numbers as numbers."""
    if isinstance(written, dict):
        return {key: _number(value) if isinstance(value, str) else _in_yaml(value) for key, value in written.items()}
    return written


def _number(text: str) -> str | float:
    try:
        return int(text)
    except ValueError:
        return text


def _with_header(schema: Schema, kind: Kind, definitions: Schema) -> Schema:
    """The first line of the document, in the schema itself or, where that is a choice, in each of its choices."""
    if "properties" in schema:
        return _headed(schema, kind)
    for choice in schema.get("oneOf") or schema.get("anyOf") or ():
        name = choice["$ref"].rsplit("/", 1)[-1]
        definitions[name] = _with_header(definitions[name], kind, definitions)
    return schema


def _headed(schema: Schema, kind: Kind) -> Schema:
    header = {"const": f"{kind} 1", "description": "kind of document and version of its form; the first line"}
    required = ["benchctl", *schema.get("required", [])]
    return {**schema, "properties": {"benchctl": header, **schema["properties"]}, "required": required}


def _or_based_on(schema: Schema) -> Schema:
    """A driver file that is based on another needs only what differs."""
    definitions = dict(schema["$defs"])
    for choice in schema["anyOf"]:
        name = choice["$ref"].rsplit("/", 1)[-1]
        driver = definitions[name]
        commands_name = driver["properties"]["commands"]["$ref"].rsplit("/", 1)[-1]
        commands = definitions[commands_name]
        definitions[name] = {
            **{key: value for key, value in driver.items() if key != "required"},
            "required": ["benchctl"],
            "if": {"not": {"required": ["based_on"]}},
            "then": {
                "required": driver["required"],
                "properties": {"commands": {"required": commands.get("required", [])}},
            },
        }
        definitions[commands_name] = {key: value for key, value in commands.items() if key != "required"}
    return {**schema, "$defs": definitions}


# -- what an editor needs ------------------------------------------------------------------------------------------


def _plain(schema: Any) -> Any:
    """Quantities as patterns, defaults as they would be written, no null where leaving out is meant."""
    if isinstance(schema, list):
        return [_plain(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    if answer_keys.DEFINED in schema:
        return {"$ref": f"#/$defs/{schema[answer_keys.DEFINED]}"}
    if "properties" in schema:
        schema = {**schema, "properties": {key: _plain(value) for key, value in schema["properties"].items()}}
    return _without_noise(_command(_criterion(_range(_quantity(_without_null(schema))))))


def _without_null(schema: Schema) -> Schema:
    choices = schema.get("anyOf")
    if not choices or {"type": "null"} not in choices:
        return schema
    left = [choice for choice in choices if choice != {"type": "null"}]
    rest = {key: value for key, value in schema.items() if key != "anyOf" and (key, value) != ("default", None)}
    return {**left[0], **rest} if len(left) == 1 else {**rest, "anyOf": left}


def _quantity(schema: Schema) -> Schema:
    unit = schema.get("unit")
    if unit is None or schema.get("type") != "string" or "pattern" in schema:
        return schema
    quantity = {
        **schema,
        "pattern": pattern_for(unit),
        PATTERN_MESSAGE: f"a quantity in {units_in_words(unit)} belongs here",
    }
    if isinstance(quantity.get("default"), int | float):
        quantity["default"] = render(quantity["default"], unit)
    return quantity


def _range(schema: Schema) -> Schema:
    return {**schema, RANGE: range_in_words(schema[RANGE])} if RANGE in schema else schema


def _criterion(schema: Schema) -> Schema:
    default = schema.get("default")
    if not isinstance(default, dict) or default.keys() != Criterion.model_fields.keys():
        return schema
    return {**schema, "default": str(Criterion.model_validate(default))}


def _command(schema: Schema) -> Schema:
    """A driver's command says which values it takes; one that is left out is not a command at all."""
    takes = schema.get(TAKES)
    if takes is None:
        return schema
    values = f"; takes {', '.join(f'{{{name}}}' for name in takes)}" if takes else ""
    rest = {key: value for key, value in schema.items() if key not in (TAKES, "default")}
    return rest | ({"description": schema["description"] + values} if "description" in schema else {})


def _without_noise(schema: Schema) -> Schema:
    kept = {key: value for key, value in schema.items() if key not in _NOISE}
    return {key: value if key == "properties" else _plain_inside(key, value) for key, value in kept.items()}


def _plain_inside(key: str, value: Any) -> Any:
    return _plain(value) if key in ("items", "anyOf", "oneOf", "allOf", "additionalProperties", "not") else value


# -- references ----------------------------------------------------------------------------------------------------


def _reference() -> Schema:
    return {
        "type": "object",
        "description": "a value of a parameter or of the amplifier file",
        "properties": {
            "from": {
                "type": "string",
                "description": "a parameter of this sequence, or an entry of the amplifier file",
                "examples": ["supply", *STAND_IN],
            }
        },
        "required": ["from"],
        "additionalProperties": False,
    }


def _with_references(schema: Any) -> Any:
    """Wherever a value stands, a reference may stand."""
    return _walk_properties(schema, _or_reference)


def _walk_properties(schema: Any, change: Callable[[Any], Any]) -> Any:
    if isinstance(schema, list):
        return [_walk_properties(item, change) for item in schema]
    if not isinstance(schema, dict):
        return schema
    walked = {
        key: value if key in ("default", "examples", "const", "enum") else _walk_properties(value, change)
        for key, value in schema.items()
    }
    if isinstance(walked.get("properties"), dict):
        walked["properties"] = {key: change(value) for key, value in walked["properties"].items()}
    if isinstance(walked.get("items"), dict):
        walked["items"] = change(walked["items"])
    return walked


def _or_reference(schema: Any) -> Any:
    if not isinstance(schema, dict) or not _may_be_referred_to(schema):
        return schema
    shown = {key: schema[key] for key in ("description", "default", "examples") if key in schema}
    written = {key: value for key, value in schema.items() if key not in {REFERABLE, *shown}}
    return {**shown, "anyOf": [written, {"$ref": f"#/$defs/{_REFERENCE}"}]}


def _may_be_referred_to(schema: Schema) -> bool:
    return "pattern" in schema or REFERABLE in schema or schema.get("type") == "array"
