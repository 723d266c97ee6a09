"""Driver files: the command set of one family of instruments in one role."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from benchctl.documents.fields import Line, Whole, counted
from benchctl.documents.part import Document, Misfit, Misfits, Part
from benchctl.documents.templates import REAL, WHOLE, WHOLES, Command, Query, asking, offering
from benchctl.documents.tree import Table
from benchctl.documents.words import describe, unknown

Role = Literal["generator", "oscilloscope", "load", "supply", "thermometer"]
ROLES: tuple[Role, ...] = ("generator", "oscilloscope", "load", "supply", "thermometer")

Plain = Annotated[Command, offering()]
Question = Annotated[Query, asking()]

_PREPARE = "sent once after reset, before anything else"


class GeneratorCommands(Part):
    """Sine, level, frequency, bursts with a low level between them. Levels are RMS."""

    prepare: Plain = Field(default=Command(), description=_PREPARE)
    set_frequency: Annotated[Command, offering(frequency_hz=REAL)]
    get_frequency: Question
    set_level: Annotated[Command, offering(level_v=REAL)]
    get_level: Question
    burst_on: Annotated[Command, offering(level_v=REAL, low_level_v=REAL, burst_s=REAL, rest_s=REAL)] = Field(
        description="start endless repetitions: a burst at the level, then rest at the low level"
    )
    burst_off: Plain = Field(description="back to a steady tone")
    output_on: Plain
    output_off: Plain
    get_output: Question


class GeneratorDriver(Document):
    """Driver file of a function generator."""

    role: Literal["generator"]
    title: Line
    commands: GeneratorCommands


class OscilloscopeCommands(Part):
    """What both forms of preamble share."""

    prepare: Plain = Field(default=Command(), description=_PREPARE)
    show_channel: Annotated[Command, offering(channel=WHOLE)]
    hide_channel: Annotated[Command, offering(channel=WHOLE)]
    set_vertical: Annotated[Command, offering(channel=WHOLE, volts_per_division=REAL, offset_v=REAL)]
    get_vertical: Annotated[Query, asking(channel=WHOLE)] = Field(description="answers volts per division")
    set_record: Annotated[Command, offering(seconds_per_division=REAL, samples=WHOLE, pretrigger_s=REAL)]
    trigger_external: Plain
    trigger_channel: Annotated[Command, offering(channel=WHOLE, level_v=REAL)]
    trigger_free: Plain = Field(description="take a record without waiting for a trigger")
    single: Plain = Field(description="arm for one record")
    stop: Plain
    get_finished: Question = Field(description="answers 1 once the record is whole")
    choose_source: Annotated[Command, offering(channel=WHOLE)]
    get_block: Question = Field(description="answers the codes as an IEEE 488.2 block")


class ListPreambleCommands(OscilloscopeCommands):
    """One question for the whole preamble."""

    get_preamble: Question = Field(description="answers a list of ten numbers")


class FieldPreambleCommands(OscilloscopeCommands):
    """A question for each field of the preamble."""

    get_x_increment: Question
    get_x_zero: Question
    get_y_multiplier: Question
    get_y_offset: Question
    get_y_zero: Question


class Divisions(Part):
    """Divisions of the screen, which turn a setting per division into full scale."""

    vertical: Annotated[Whole, counted(at_least=2, at_most=20)]
    horizontal: Annotated[Whole, counted(at_least=2, at_most=20)]


class ListPreambleDriver(Document):
    """Driver file of an oscilloscope whose preamble is one list."""

    role: Literal["oscilloscope"]
    title: Line
    preamble: Literal["list"]
    divisions: Divisions
    commands: ListPreambleCommands


class FieldPreambleDriver(Document):
    """Driver file of an oscilloscope whose preamble is a question a field."""

    role: Literal["oscilloscope"]
    title: Line
    preamble: Literal["fields"]
    divisions: Divisions
    commands: FieldPreambleCommands


class RelayBankCommands(Part):
    """Relays by number; `{relays}` is put in as `101,103`."""

    prepare: Plain = Field(default=Command(), description=_PREPARE)
    close: Annotated[Command, offering(relays=WHOLES)]
    open: Annotated[Command, offering(relays=WHOLES)]
    open_all: Plain
    get_closed: Annotated[Query, asking(relays=WHOLES)] = Field(
        description="answers 1 or 0 for each, separated by commas"
    )


class RelayBankDriver(Document):
    """Driver file of a bank of load resistors behind relays."""

    role: Literal["load"]
    title: Line
    kind: Literal["relay bank"]
    commands: RelayBankCommands


class ElectronicLoadCommands(Part):
    """Resistance mode."""

    prepare: Plain = Field(default=Command(), description=_PREPARE)
    set_resistance: Annotated[Command, offering(resistance_ohm=REAL)]
    get_resistance: Question
    connect: Plain
    disconnect: Plain
    get_connected: Question


class ElectronicLoadDriver(Document):
    """Driver file of an electronic load."""

    role: Literal["load"]
    title: Line
    kind: Literal["electronic"]
    commands: ElectronicLoadCommands


# A supply with a single output has nothing to choose.
_OUTPUT: dict[str, Any] = {"output": WHOLE}
_OfOutput = Annotated[Command, offering(optional=_OUTPUT)]
_AskOutput = Annotated[Query, asking(optional=_OUTPUT)]
_SetVolts = Annotated[Command, offering(optional=_OUTPUT, voltage_v=REAL)]
_SetAmperes = Annotated[Command, offering(optional=_OUTPUT, current_a=REAL)]


class SupplyCommands(Part):
    """Every command may choose its `{output}` by number."""

    prepare: Plain = Field(default=Command(), description=_PREPARE)
    set_voltage: _SetVolts
    get_voltage: _AskOutput
    set_current_limit: _SetAmperes
    get_current_limit: _AskOutput
    set_overvoltage: _SetVolts = Field(description="the supply's own protection: level, and on")
    get_overvoltage: _AskOutput
    set_overcurrent: _SetAmperes = Field(description="the supply's own protection: level, and on")
    get_overcurrent: _AskOutput
    get_tripped: _AskOutput = Field(description="answers 1 for each protection that tripped, else 0")
    clear_protection: _OfOutput
    output_on: _OfOutput
    output_off: _OfOutput
    get_output: _AskOutput
    measure_voltage: _AskOutput
    measure_current: _AskOutput


class SupplyDriver(Document):
    """Driver file of a dc supply."""

    role: Literal["supply"]
    title: Line
    commands: SupplyCommands


class ThermometerCommands(Part):
    """One channel a question; answers in degC."""

    prepare: Plain = Field(default=Command(), description=_PREPARE)
    measure_temperature: Annotated[Query, asking(optional={"channel": WHOLE})]


class ThermometerDriver(Document):
    """Driver file of a thermometer."""

    role: Literal["thermometer"]
    title: Line
    commands: ThermometerCommands


OscilloscopeDriver = ListPreambleDriver | FieldPreambleDriver
LoadDriver = RelayBankDriver | ElectronicLoadDriver
Driver = GeneratorDriver | OscilloscopeDriver | LoadDriver | SupplyDriver | ThermometerDriver

# Role -> the key that tells its forms apart, and the forms.
_FORMS: Mapping[str, tuple[str, Mapping[str, type[Document]]]] = {
    "oscilloscope": ("preamble", {"list": ListPreambleDriver, "fields": FieldPreambleDriver}),
    "load": ("kind", {"relay bank": RelayBankDriver, "electronic": ElectronicLoadDriver}),
}
_SINGLE_FORM: Mapping[str, type[Document]] = {
    "generator": GeneratorDriver,
    "supply": SupplyDriver,
    "thermometer": ThermometerDriver,
}


def driver_class(table: Table) -> type[Document]:
    """The model for a driver file, chosen by its role and, where a role has several forms, by its form.

    Raises:
        Misfits: no role or form, or an unknown one.
    """
    role = _choice(table, "role", ROLES)
    if role in _SINGLE_FORM:
        return _SINGLE_FORM[role]
    key, forms = _FORMS[role]
    return forms[_choice(table, key, tuple(forms))]


def _choice(table: Table, key: str, known: tuple[str, ...]) -> str:
    if key not in table:
        raise Misfits([Misfit((), f"'{key}' is missing; give one of {', '.join(known)}")])
    value = table[key]
    if value not in known:
        message = unknown(value, known, key) if isinstance(value, str) else f"{describe(value)} is no {key}"
        raise Misfits([Misfit((key,), message)])
    return str(value)
