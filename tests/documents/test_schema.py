"""The JSON Schemas agree with the models: a general validator takes every shipped file and refuses the usual slips."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator, ValidationError

from benchctl.documents.reader import read_any
from benchctl.documents.schema import KINDS, Kind, Schema, schema_of
from benchctl.errors import DocumentError

ROOT = Path(__file__).parents[2]
SHIPPED = sorted(path for folder in ("drivers", "sequences", "sim") for path in (ROOT / folder).rglob("*.yaml"))


_schema_of = cache(schema_of)


class Plain(yaml.SafeLoader):
    """YAML as editors know it (YAML 1.2): a date is a string, and so are yes and no, but not true and false."""


Plain.yaml_implicit_resolvers = {
    first: [
        (tag, re.compile("true|false") if tag == "tag:yaml.org,2002:bool" else rule)
        for tag, rule in resolvers
        if tag != "tag:yaml.org,2002:timestamp"
    ]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def kind_of(document: Any) -> Kind:
    kind: Kind = document["benchctl"].split()[0]
    return kind


def errors(text: str) -> Iterator[ValidationError]:
    document: Any = yaml.load(text, Plain)
    return Draft202012Validator(_schema_of(kind_of(document))).iter_errors(document)


def faults(text: str) -> Iterator[str]:
    return (error.message for error in errors(text))


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
    SEQUENCE + "  - when: {idle_current: below 3 A, amplifier: {class: D}}\n    steps: [{hold: {for: 1 s}}]\n",
    SEQUENCE + "  - find_clean_level: {from: 10 mV}\n",
    SEQUENCE + "  - find_clean_level\n",
    SEQUENCE.replace("14.4 V", "{from: amplifier.supply.nominal}"),
    SEQUENCE + "  - sweep: {load: {from: amplifier.rated_loads}}\n    steps: [power_off]\n",
]

BENCH = (ROOT / "sim" / "workshop.yaml").read_text(encoding="utf-8")
AMPLIFIER = (ROOT / "sim" / "amplifiers" / "hx2150.yaml").read_text(encoding="utf-8")
SUPPLY = (ROOT / "drivers" / "supply" / "scpi99.yaml").read_text(encoding="utf-8")
SCOPE = (ROOT / "drivers" / "oscilloscope" / "preamble_list.yaml").read_text(encoding="utf-8")
END = SEQUENCE.splitlines()[-1]

CALIBRATION = """\
benchctl: calibration 1
title: T
leads: {resistance: 5 mohm, uncertainty: 3 %, date: 2026-11-26}
"""

# What is wrong; the text and what becomes of a part of it; where an editor is to underline it.
WRONG = {
    "a value without its date": (CALIBRATION, ", date: 2026-11-26", "", "leads"),
    "a resistance in volts": (CALIBRATION, "5 mohm", "5 mV", "leads/resistance"),
    "a sequence of a version to come": (SEQUENCE, "sequence 1", "sequence 2", "benchctl"),
    "a quantity of another unit": (SEQUENCE, "14.4 V", "14.4 A", "steps/0/power_on/voltage"),
    "a quantity without its unit": (SEQUENCE, "14.4 V", "14.4", "steps/0/power_on/voltage"),
    "a decimal comma": (SEQUENCE, "14.4 V", "'14,4 V'", "steps/0/power_on/voltage"),
    "a misspelt setting": (SEQUENCE, "voltage", "voltagge", "steps/0/power_on"),
    "a sequence without a title": (SEQUENCE, "title: T\n", "", ""),
    "a setting that is missing": (SEQUENCE, ", current_limit: 90 A", "", "steps/0/power_on"),
    "a step without its settings": (SEQUENCE, END, f"{END}\n  - hold: {{}}", "steps/1/hold"),
    "a misspelt step": (SEQUENCE, END, f"{END}\n  - holdd: {{for: 1 s}}", "steps/1"),
    "a bare word that needs settings": (SEQUENCE, END, f"{END}\n  - hold", "steps/1"),
    "a kind that is written out": (SEQUENCE, END, f"{END}\n  - hold: {{for: 1 s, kind: hold}}", "steps/1/hold"),
    "nothing that is required": (SEQUENCE, END, f"{END}\n  - require: {{}}", "steps/1/require"),
    "a misspelt figure": (SEQUENCE, END, f"{END}\n  - require: {{idle_curent: below 3 A}}", "steps/1/require"),
    "a criterion without a relation": (
        SEQUENCE,
        END,
        f"{END}\n  - require: {{idle_current: 3 A}}",
        "steps/1/require/idle_current",
    ),
    "a criterion of another unit": (
        SEQUENCE,
        END,
        f"{END}\n  - require: {{idle_current: below 3 W}}",
        "steps/1/require/idle_current",
    ),
    "a figure that the step does not give": (
        SEQUENCE,
        END,
        f"{END}\n  - measure_idle: {{expect: {{thd_n: below 1 %}}}}",
        "steps/1/measure_idle/expect",
    ),
    "a sweep that holds no steps": (SEQUENCE, END, f"{END}\n  - sweep: {{load: [4 ohm]}}", "steps/1"),
    "one value where a list belongs": (
        SEQUENCE,
        END,
        f"{END}\n  - sweep: {{load: 4 ohm}}\n    steps: [power_off]",
        "steps/1/sweep/load",
    ),
    "steps in a step that holds none": (
        SEQUENCE,
        END,
        f"{END}\n  - hold: {{for: 1 s}}\n    steps: [power_off]",
        "steps/1",
    ),
    "a repeat of once": (
        SEQUENCE,
        END,
        f"{END}\n  - repeat: {{times: 1}}\n    steps: [power_off]",
        "steps/1/repeat/times",
    ),
    "a limit of another unit": (
        SEQUENCE,
        "steps:",
        "limits: {supply_current: {above: 95 V}}\nsteps:",
        "limits/supply_current/above",
    ),
    "a misspelt limit": (SEQUENCE, "steps:", "limits: {suply_current: {above: 95 A}}\nsteps:", "limits"),
    "a key of nobody's": (SEQUENCE, "steps:", "colour: blue\nsteps:", ""),
    "a parameter without a unit": (SEQUENCE, "steps:", "parameters: {u: {default: 14 V}}\nsteps:", "parameters/u"),
    "a bench without signals": (BENCH, BENCH[BENCH.index("signals:") : BENCH.index("limits:")], "", ""),
    "a role that there is not": (BENCH, "  thermometer:", "  thermometre:", "instruments"),
    "an instrument without its accuracy": (
        BENCH,
        "    accuracy:\n      temperature: {fixed: 1 K}\n",
        "",
        "instruments/thermometer",
    ),
    "a probe of no kind": (BENCH, "kind: single-ended", "kind: earthed", "signals/supply_voltage/probe/kind"),
    "an input that the oscilloscope has not got": (
        BENCH,
        "B: {oscilloscope: 2",
        "B: {oscilloscope: 9",
        "signals/outputs/B/oscilloscope",
    ),
    "a trigger from nowhere": (BENCH, "trigger: external", "trigger: channel 9", "signals/trigger"),
    "a turn-on lead by magic": (
        BENCH,
        "{by: supply, output: remote",
        "{by: magic, output: remote",
        "remote_turn_on/by",
    ),
    "a converter of no bits": (BENCH, "bits: 12", "bits: 0", "instruments/oscilloscope/ratings/bits"),
    "a fault that nobody knows": (
        BENCH,
        "  seed: 2150",
        "  faults: [{kind: gremlin, at: 1 s}]",
        "simulation/faults/0/kind",
    ),
    "an amplifier of no class": (AMPLIFIER, "class: AB", "class: X", "class"),
    "outputs that hover": (AMPLIFIER, "outputs: grounded", "outputs: hovering", "outputs"),
    "a fuse in volts": (AMPLIFIER, "fuse: 80 A", "fuse: 80 V", "supply/fuse"),
    "an amplifier without channels": (AMPLIFIER, "channels: [A, B]", "channels: []", "channels"),
    "a rating without power": (AMPLIFIER, "power: 150 W, ", "", "rated/0"),
    "an amplifier without a heatsink": (AMPLIFIER, "heatsink: {maximum", "heatsinc: {maximum", ""),
    "physics that there are not": (AMPLIFIER, "  housekeeping: 4 W", "  housekeping: 4 W", "simulation"),
    "a driver of no role": (SUPPLY, "role: supply", "role: coffee", "role"),
    "a driver that cannot switch off": (SUPPLY, "  output_off:", "  output_of:", "commands"),
    "a command that is not text": (SUPPLY, "  output_off: ", "  output_off: {} # ", "commands/output_off"),
    "samples of another type": (SCOPE, "commands:", "samples: int12\ncommands:", "samples"),
    "a screen of one division": (SCOPE, "commands:", "divisions: {vertical: 1}\ncommands:", "divisions/vertical"),
}


@pytest.mark.parametrize("text", RIGHT)
def test_what_the_program_takes_the_schema_takes(text: str, tmp_path: Path) -> None:
    (tmp_path / "x.yaml").write_text(text)
    read_any(tmp_path / "x.yaml")
    assert list(faults(text)) == []


def positions(text: str) -> set[str]:
    """Where a general validator sees a fault, in every choice that it tried."""
    return {"/".join(map(str, error.absolute_path)) for error in _leaves(errors(text))}


def _leaves(found: Iterable[ValidationError]) -> Iterator[ValidationError]:
    for error in found:
        yield error
        yield from _leaves(error.context or ())


@pytest.mark.parametrize("slip", WRONG)
def test_what_the_schema_refuses_the_program_refuses(slip: str, tmp_path: Path) -> None:
    text, old, new, position = WRONG[slip]
    assert text.count(old), "the slip is not made"
    (tmp_path / "x.yaml").write_text(text.replace(old, new, 1))
    with pytest.raises(DocumentError):
        read_any(tmp_path / "x.yaml")
    assert position in positions(text.replace(old, new, 1))


def test_the_wrong_documents_are_of_every_kind_and_right_but_for_their_slip() -> None:
    texts = {text for text, *_ in WRONG.values()}
    assert {kind_of(yaml.load(text, Plain)) for text in texts} == set(KINDS)
    assert [fault for text in texts for fault in faults(text)] == []


def test_a_text_that_looks_like_a_number_is_a_text(tmp_path: Path) -> None:
    text = AMPLIFIER.replace("channels: [A, B]", "serial: 17\nchannels: [1, 2]").replace("pair: [A, B]", "pair: [1, 2]")
    text = text.replace("{A: 6 mV, B: -9 mV}", "{1: 6 mV}")
    (tmp_path / "x.yaml").write_text(text)
    assert read_any(tmp_path / "x.yaml").channels == ("1", "2")  # type: ignore[attr-defined]
    assert list(faults(text)) == []


# -- what an editor shows ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Setting:
    """One key of a document, where it stands, and what its schema says."""

    name: str
    says: Schema
    definitions: Schema

    def resolved(self) -> Schema:
        """What it says, and what a definition says that it refers to."""
        return _followed(self.says, self.definitions)

    def scalars(self) -> list[Schema]:
        """The forms that a value may have, but for mappings and lists."""
        whole = self.resolved()
        forms = [_followed(form, self.definitions) for form in whole.get("anyOf") or whole.get("oneOf") or [whole]]
        return [form for form in forms if form.get("type") not in {"object", "array"} and "properties" not in form]


def _followed(schema: Schema, definitions: Schema) -> Schema:
    target = schema.get("$ref", "").rpartition("/")[2]
    return {**definitions[target], **schema} if target else schema


def settings_of(kind: Kind) -> list[Setting]:
    schema = _schema_of(kind)
    owners = {kind: schema, **schema["$defs"]}
    return [
        Setting(name, says, schema["$defs"]) for owner, node in owners.items() for name, says in _settings(owner, node)
    ]


def _settings(owner: str, node: Any) -> Iterator[tuple[str, Schema]]:
    if isinstance(node, list):
        for item in node:
            yield from _settings(owner, item)
    if not isinstance(node, dict):
        return
    for name, says in node.get("properties", {}).items():
        yield f"{owner}.{name}", says
        yield from _settings(f"{owner}.{name}", says)
    for inside in ("items", "anyOf", "oneOf", "additionalProperties"):
        yield from _settings(owner, node.get(inside))


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_says_what_it_is(kind: Kind) -> None:
    settings = settings_of(kind)
    assert len(settings) > (20 if kind == "calibration" else 50)
    assert [each.name for each in settings if len(each.resolved().get("description", "")) < 5] == []


@pytest.mark.parametrize("kind", KINDS)
def test_every_value_is_shown_by_an_example_or_by_its_choices(kind: Kind) -> None:
    shown = {"examples", "const", "enum"}
    assert [
        each.name
        for each in settings_of(kind)
        if not each.resolved().keys() & shown and not all(form.keys() & shown for form in each.scalars())
    ] == []


@pytest.mark.parametrize("kind", KINDS)
def test_examples_and_defaults_are_as_they_would_be_written(kind: Kind) -> None:
    """A general validator takes them where they stand; those of a quantity carry its unit, or it would not."""
    wrong = []
    for each in settings_of(kind):
        says = each.resolved()
        validator = Draft202012Validator({**each.says, "$defs": each.definitions})
        for written in [*says.get("examples", ()), *([says["default"]] if "default" in says else [])]:
            if not validator.is_valid(written):
                wrong.append((each.name, written))
    assert wrong == []


@pytest.mark.parametrize(
    ("kind", "name", "default"),
    [
        ("sequence", "CoolSettings.timeout", "3.6 ks"),
        ("sequence", "FindCleanLevelSettings.step", "6 dB"),
        ("sequence", "RampSupplySettings.dc_offset", "within 100 mV"),
        ("bench", "Signals.trigger", "external"),
        ("amplifier", "Rating.thd_n", "1 %"),
    ],
)
def test_a_default_is_what_the_program_takes_if_nothing_is_written(kind: Kind, name: str, default: str) -> None:
    (setting,) = (each for each in settings_of(kind) if each.name == name)
    assert setting.says["default"] == default


@pytest.mark.parametrize(
    ("kind", "name", "told"),
    [
        ("sequence", "HoldSettings.for", "more than 0 s and at most 168 h"),
        ("sequence", "MeasureDcSettings.for", "more than 0 s and at most 60 s"),
        ("sequence", "FindCleanLevelSettings.step", "more than 0 dB and at most 20 dB"),
        ("bench", "Resistor.uncertainty", "more than 0 % and less than 50 %"),
        ("amplifier", "HeatsinkRating.maximum", "at least -55 degC and at most 400 degC"),
        ("amplifier", "AmplifierSimulation.converter_efficiency", "more than 0 % and at most 100 %"),
    ],
)
def test_a_range_is_told_as_the_program_checks_it(kind: Kind, name: str, told: str) -> None:
    (setting,) = (each for each in settings_of(kind) if each.name == name)
    assert [form["range"] for form in setting.scalars() if "range" in form] == [told]


def test_a_command_says_which_values_it_takes_and_what_shipped_drivers_send() -> None:
    (setting,) = (each for each in settings_of("driver") if each.name == "SupplyCommands.set_voltage")
    assert setting.says["description"].endswith("takes {voltage_v}, {output}, {current_a}")
    assert yaml.safe_load(SUPPLY)["commands"]["set_voltage"] in setting.says["examples"]
