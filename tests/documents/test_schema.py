"""The JSON Schemas agree with the models: a general validator takes every shipped file and refuses the usual slips."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator

from benchctl.documents.reader import read_any
from benchctl.documents.schema import KINDS, Kind, schema_of
from benchctl.errors import DocumentError

ROOT = Path(__file__).parents[2]
SHIPPED = sorted(path for folder in ("drivers", "sequences", "sim") for path in (ROOT / folder).rglob("*.yaml"))


class Plain(yaml.SafeLoader):
    """YAML as JSON Schema knows it: a date is a string."""


Plain.yaml_implicit_resolvers = {
    first: [(tag, rule) for tag, rule in resolvers if tag != "tag:yaml.org,2002:timestamp"]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def faults(text: str) -> Iterator[str]:
    document: Any = yaml.load(text, Plain)
    kind: Kind = document["benchctl"].split()[0]
    return (error.message for error in Draft202012Validator(schema_of(kind)).iter_errors(document))


@pytest.mark.parametrize("kind", KINDS)
def test_each_schema_is_a_schema(kind: Kind) -> None:
    Draft202012Validator.check_schema(schema_of(kind))


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_shipped_file_satisfies_its_schema(path: Path) -> None:
    assert list(faults(path.read_text())) == []


SEQUENCE = "benchctl: sequence 1\ntitle: T\nsteps:\n  - power_on: {voltage: 14.4 V, current_limit: 90 A}\n"

RIGHT = [
    SEQUENCE,
    SEQUENCE + "  - power_off\n",
    SEQUENCE + "  - note: a word\n",
    SEQUENCE + "  - require: {idle_current: below 3 A}\n",
    SEQUENCE + "  - repeat: {times: 2}\n    steps: [{hold: {for: 1 s}}]\n",
    SEQUENCE + "  - when: {idle_current: below 3 A, amplifier: {class: D}}\n    steps: [power_off]\n",
    SEQUENCE + "  - find_clean_level: {from: 10 mV}\n",
    SEQUENCE + "  - find_clean_level\n",
    SEQUENCE.replace("14.4 V", "{from: amplifier.supply.nominal}"),
    SEQUENCE + "  - sweep: {load: {from: amplifier.rated_loads}}\n    steps: [power_off]\n",
]

WRONG = [
    SEQUENCE.replace("sequence 1", "sequence 2"),
    SEQUENCE.replace("14.4 V", "14.4 A"),
    SEQUENCE.replace("14.4 V", "14.4"),
    SEQUENCE.replace("14.4 V", "14,4 V"),
    SEQUENCE.replace("voltage", "voltagge"),
    SEQUENCE.replace("title: T\n", ""),
    SEQUENCE.replace(", current_limit: 90 A", ""),
    SEQUENCE + "  - hold: {}\n",
    SEQUENCE + "  - holdd: {for: 1 s}\n",
    SEQUENCE + "  - hold\n",
    SEQUENCE + "  - hold: {for: 1 s, kind: hold}\n",
    SEQUENCE + "  - require: {}\n",
    SEQUENCE + "  - require: {idle_curent: below 3 A}\n",
    SEQUENCE + "  - sweep: {load: [4 ohm]}\n",
    SEQUENCE + "  - sweep: {load: 4 ohm}\n    steps: [power_off]\n",
    SEQUENCE + "  - hold: {for: 1 s}\n    steps: [power_off]\n",
    SEQUENCE + "limits: {supply_current: {above: 95 V}}\n",
    SEQUENCE + "limits: {suply_current: {above: 95 A}}\n",
    SEQUENCE + "colour: blue\n",
]


@pytest.mark.parametrize("text", RIGHT)
def test_what_the_program_takes_the_schema_takes(text: str, tmp_path: Path) -> None:
    (tmp_path / "x.yaml").write_text(text)
    read_any(tmp_path / "x.yaml")
    assert list(faults(text)) == []


@pytest.mark.parametrize("text", WRONG)
def test_what_the_schema_refuses_the_program_refuses(text: str, tmp_path: Path) -> None:
    (tmp_path / "x.yaml").write_text(text)
    with pytest.raises(DocumentError):
        read_any(tmp_path / "x.yaml")
    assert list(faults(text)) != []


def test_descriptions_and_defaults_are_there_for_the_editor() -> None:
    """A default is shown as it would be written."""
    cool = schema_of("sequence")["$defs"]["CoolSettings"]
    timeout = cool["properties"]["timeout"]
    assert timeout["description"]
    assert timeout["default"] == "3.6 ks"


@pytest.mark.parametrize("kind", ["sequence", "amplifier"])
def test_every_setting_says_what_it_is(kind: Kind) -> None:
    """In words or, where its name says it, by an example of how it is written."""
    settings = [
        (f"{name}.{key}", setting)
        for name, definition in schema_of(kind)["$defs"].items()
        for key, setting in definition.get("properties", {}).items()
        if "$ref" not in setting
    ]
    assert settings
    assert [name for name, setting in settings if not setting.keys() & {"description", "examples"}] == []
