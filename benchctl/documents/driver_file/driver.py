"""Driver files: the command set of one family of instruments in one role."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.documents.driver_file.load import ElectronicLoadDriver, RelayBankDriver
from benchctl.documents.driver_file.multimeter import MultimeterDriver
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver, refuse_old_words
from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.documents.driver_file.thermometer import ThermometerDriver
from benchctl.documents.model.model_base import Document, PathProblem, PathProblems
from benchctl.documents.text.tree import Table
from benchctl.documents.text.words import describe, unknown

Role = Literal["generator", "oscilloscope", "load", "supply", "thermometer", "multimeter"]
ROLES: tuple[Role, ...] = ("generator", "oscilloscope", "load", "supply", "thermometer", "multimeter")

LoadDriver = RelayBankDriver | ElectronicLoadDriver
Driver = GeneratorDriver | OscilloscopeDriver | LoadDriver | SupplyDriver | ThermometerDriver | MultimeterDriver

# Role -> the key that chooses the form, and the forms.
_FORMS: Mapping[str, tuple[str, Mapping[str, type[Document]]]] = {
    "load": ("kind", {"relay bank": RelayBankDriver, "electronic": ElectronicLoadDriver}),
}
_SINGLE_FORM: Mapping[str, type[Document]] = {
    "generator": GeneratorDriver,
    "oscilloscope": OscilloscopeDriver,
    "supply": SupplyDriver,
    "thermometer": ThermometerDriver,
    "multimeter": MultimeterDriver,
}


def driver_class(table: Table) -> type[Document]:
    """The model for a driver file, chosen by its role and, where a role has several forms, by its form.

    Raises:
        PathProblems: no role or form, or an unknown one.
    """
    role = _choice(table, "role", ROLES)
    if role == "oscilloscope":
        refuse_old_words(table)
    if role in _SINGLE_FORM:
        return _SINGLE_FORM[role]
    key, forms = _FORMS[role]
    return forms[_choice(table, key, tuple(forms))]


def _choice(table: Table, key: str, known: tuple[str, ...]) -> str:
    if key not in table:
        raise PathProblems([PathProblem((), f"'{key}' is missing; give one of {', '.join(known)}")])
    value = table[key]
    if value not in known:
        message = unknown(value, known, key) if isinstance(value, str) else f"{describe(value)} is not a {key}"
        raise PathProblems([PathProblem((key,), message)])
    return str(value)
