"""What holds for every model: text gives numbers only in the way its type says, and nothing can be changed later."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal, get_args, get_origin

import pytest
from pydantic import BaseModel, BeforeValidator, ValidationError

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.documents.driver_file.load import ElectronicLoadDriver, RelayBankDriver
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.documents.driver_file.thermometer import ThermometerDriver
from benchctl.documents.model.model_base import Part, key_of
from benchctl.documents.reader import load_sequence
from benchctl.documents.sequence_file.sequence import Sequence

DOCUMENTS: list[type[BaseModel]] = [
    Sequence, Bench, Amplifier, GeneratorDriver, OscilloscopeDriver, RelayBankDriver,
    ElectronicLoadDriver, SupplyDriver, ThermometerDriver,
]  # fmt: skip


def every_part(kind: type[Part] = Part) -> Iterator[type[Part]]:
    for child in kind.__subclasses__():
        if child.__module__.startswith("benchctl.documents"):
            yield child
            yield from every_part(child)


PARTS = sorted(set(every_part()), key=lambda part: f"{part.__module__}.{part.__name__}")


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.__name__)
def test_a_document_cannot_be_changed_nor_hold_what_nobody_knows(part: type[Part]) -> None:
    assert part.model_config.get("frozen")
    assert part.model_config.get("extra") == "forbid"


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.__name__)
def test_every_part_says_what_it_is(part: type[Part]) -> None:
    assert part.__name__.startswith("_") or part.__doc__


@pytest.mark.parametrize(
    ("attribute", "key"),
    [
        ("every_s", "every"),
        ("from_v", "from"),
        ("load_ohm", "load"),
        ("sensitivity_v_per_a", "sensitivity"),
        ("temperature_coefficient_per_k", "temperature_coefficient"),
        ("thd_n", "thd_n"),
        ("cycles", "cycles"),
    ],
)
def test_a_key_is_the_attribute_less_its_unit(attribute: str, key: str) -> None:
    assert key_of(attribute) == key


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda document: document.__name__)
def test_every_document_has_a_json_schema(document: type[BaseModel]) -> None:
    schema = document.model_json_schema()
    assert schema["type"] == "object"
    assert schema["additionalProperties"] is False


def test_a_document_that_was_read_is_frozen() -> None:
    sequence = load_sequence("quick_check")
    with pytest.raises(ValidationError):
        sequence.title = "another"  # type: ignore[misc]


def has_bare_number(annotation: Any, metadata: tuple[Any, ...] = ()) -> bool:
    if get_origin(annotation) is Annotated:
        inner, *more = get_args(annotation)
        return has_bare_number(inner, (*metadata, *more))
    if annotation in (int, float, bool):
        return not any(isinstance(entry, BeforeValidator) for entry in metadata)
    return get_origin(annotation) is not Literal and any(has_bare_number(inner) for inner in get_args(annotation))


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.__name__)
def test_no_number_is_read_from_text_by_anyone_but_its_own_type(part: type[Part]) -> None:
    """A bare `float` would take `1e3` or ` 5 ` without a unit."""
    part.model_rebuild()
    fields = part.model_fields.items()
    bare = [name for name, info in fields if has_bare_number(info.annotation, tuple(info.metadata))]
    # The numbers of these two get their units in the classes under them.
    assert part.__name__ in {"Limit", "Accuracy"} or not bare
