"""Driver files: the command set of one family of instruments in one role."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from benchctl.documents.driver_file.templates import REAL, WHOLE, WHOLES, Command, Query, asking, offering
from benchctl.documents.model.fields import Line, Whole, counted
from benchctl.documents.model.model_base import Document, Part, PathProblem, PathProblems
from benchctl.documents.text.tree import Table
from benchctl.documents.text.words import describe, unknown

Role = Literal["generator", "oscilloscope", "load", "supply", "thermometer"]
ROLES: tuple[Role, ...] = ("generator", "oscilloscope", "load", "supply", "thermometer")

Plain = Annotated[Command, *offering()]
Question = Annotated[Query, *asking()]


_ROLE: Any = Field(description="what the family of instruments is used as")
_TITLE: Any = Field(description="name of the family", examples=["Scanner that wants its channel chosen first"])
_PREPARE: Any = Field(default=Command(), description="sent once after reset, before anything else", examples=["*CLS"])


# A generator or a supply with a single output has no output to choose.
_OUTPUT: dict[str, Any] = {"output": WHOLE}
_OfOutput = Annotated[Command, *offering(optional=_OUTPUT)]
_AskOutput = Annotated[Query, *asking(optional=_OUTPUT)]


class GeneratorCommands(Part):
    """Sine, level, frequency, bursts with a low level between them. Levels are RMS.

    Of a generator with two outputs each command is sent for each output in turn, with its number as `{output}`; what
    starts bursts at both in one instant is `burst_start`.
    """

    prepare: _OfOutput = _PREPARE
    set_frequency: Annotated[Command, *offering(frequency_hz=REAL, optional=_OUTPUT)] = Field(
        description="tune the sine"
    )
    get_frequency: _AskOutput = Field(description="answers the frequency, Hz")
    set_level: Annotated[Command, *offering(level_v=REAL, optional=_OUTPUT)] = Field(description="set the level, V RMS")
    get_level: _AskOutput = Field(description="answers the level, V RMS")
    burst_on: Annotated[
        Command, *offering(level_v=REAL, low_level_v=REAL, burst_s=REAL, rest_s=REAL, optional=_OUTPUT)
    ] = Field(description="start endless repetitions: a burst at the level, then rest at the low level")
    burst_start: Plain = Field(
        default=Command(), description="start what `burst_on` has set, at every output; leave it out if that starts it"
    )
    burst_off: _OfOutput = Field(description="back to a steady tone")
    output_on: _OfOutput = Field(description="connect the output")
    output_off: _OfOutput = Field(description="disconnect the output")
    get_output: _AskOutput = Field(description="answers 1 where the output is connected, else 0")

    @property
    def choose_outputs(self) -> bool:
        """Whether they are for a generator with several outputs."""
        told = (self.set_level, self.output_on, self.output_off, self.get_output)
        return all(any("output" in template.takes for template in words.templates) for words in told)


class GeneratorDriver(Document):
    """Driver file of a function generator."""

    role: Literal["generator"] = _ROLE
    title: Line = _TITLE
    commands: GeneratorCommands


class OscilloscopeCommands(Part):
    """What both forms of preamble share."""

    prepare: Plain = _PREPARE
    show_channel: Annotated[Command, *offering(channel=WHOLE)] = Field(description="take this channel into the record")
    hide_channel: Annotated[Command, *offering(channel=WHOLE)] = Field(
        description="leave this channel out of the record"
    )
    set_vertical: Annotated[Command, *offering(channel=WHOLE, volts_per_division=REAL, offset_v=REAL)] = Field(
        description="set a channel's range and the voltage in the middle of the screen"
    )
    get_vertical: Annotated[Query, *asking(channel=WHOLE)] = Field(
        description="answers the range that is set, volts per division"
    )
    set_record: Annotated[Command, *offering(seconds_per_division=REAL, samples=WHOLE, pretrigger_s=REAL)] = Field(
        description="set time base, number of samples, and how much is kept from before the trigger"
    )
    trigger_external: Plain = Field(description="trigger on the external input's rising edge")
    trigger_channel: Annotated[Command, *offering(channel=WHOLE, level_v=REAL)] = Field(
        description="trigger on a channel's rising edge"
    )
    trigger_free: Plain = Field(description="take a record without waiting for a trigger")
    single: Plain = Field(description="arm for one record")
    stop: Plain = Field(description="leave a record that waits for its trigger")
    get_finished: Question = Field(description="answers 1 once the record is whole")
    choose_source: Annotated[Command, *offering(channel=WHOLE)] = Field(
        description="choose the channel that preamble and block are asked of"
    )
    get_block: Question = Field(description="answers the codes as an IEEE 488.2 block")


class ListPreambleCommands(OscilloscopeCommands):
    """One question for the whole preamble."""

    get_preamble: Question = Field(description="answers a list of ten numbers")


class FieldPreambleCommands(OscilloscopeCommands):
    """A question for each field of the preamble."""

    get_x_increment: Question = Field(description="answers the time between samples, s")
    get_x_zero: Question = Field(description="answers the time of the first sample against the trigger, s")
    get_y_multiplier: Question = Field(description="answers the volts of one code")
    get_y_offset: Question = Field(description="answers the code that stands for y_zero")
    get_y_zero: Question = Field(description="answers the volts of the code y_offset")


class Divisions(Part):
    """Divisions of the screen, which turn a setting per division into full scale."""

    vertical: Annotated[Whole, counted(at_least=2, at_most=20, example=8)] = Field(
        description="divisions of the screen from bottom to top"
    )
    horizontal: Annotated[Whole, counted(at_least=2, at_most=20, example=10)] = Field(
        description="divisions of the screen from left to right"
    )


class ListPreambleDriver(Document):
    """Driver file of an oscilloscope whose preamble is one list."""

    role: Literal["oscilloscope"] = _ROLE
    title: Line = _TITLE
    preamble: Literal["list"] = Field(description="one question answers all of the preamble")
    divisions: Divisions
    commands: ListPreambleCommands


class FieldPreambleDriver(Document):
    """Driver file of an oscilloscope whose preamble is a question a field."""

    role: Literal["oscilloscope"] = _ROLE
    title: Line = _TITLE
    preamble: Literal["fields"] = Field(description="a question for each field of the preamble")
    divisions: Divisions
    commands: FieldPreambleCommands


class RelayBankCommands(Part):
    """Relays by number; `{relays}` is put in as `101,103`."""

    prepare: Plain = _PREPARE
    close: Annotated[Command, *offering(relays=WHOLES)] = Field(description="close these relays")
    open: Annotated[Command, *offering(relays=WHOLES)] = Field(description="open these relays")
    open_all: Plain = Field(description="open every relay of the bank")
    get_closed: Annotated[Query, *asking(relays=WHOLES)] = Field(
        description="answers 1 or 0 for each relay, separated by commas"
    )


class RelayBankDriver(Document):
    """Driver file of a bank of load resistors behind relays."""

    role: Literal["load"] = _ROLE
    title: Line = _TITLE
    kind: Literal["relay bank"] = Field(description="resistors behind relays")
    commands: RelayBankCommands


class ElectronicLoadCommands(Part):
    """Resistance mode."""

    prepare: Plain = _PREPARE
    set_resistance: Annotated[Command, *offering(resistance_ohm=REAL)] = Field(description="set the resistance")
    get_resistance: Question = Field(description="answers the resistance that is set, ohm")
    connect: Plain = Field(description="switch the input on")
    disconnect: Plain = Field(description="switch the input off")
    get_connected: Question = Field(description="answers 1 where the input is on, else 0")


class ElectronicLoadDriver(Document):
    """Driver file of an electronic load."""

    role: Literal["load"] = _ROLE
    title: Line = _TITLE
    kind: Literal["electronic"] = Field(description="an electronic load in resistance mode")
    commands: ElectronicLoadCommands


_SetVolts = Annotated[Command, *offering(optional=_OUTPUT, voltage_v=REAL)]
_SetAmperes = Annotated[Command, *offering(optional=_OUTPUT, current_a=REAL)]


class SupplyCommands(Part):
    """Every command may choose its `{output}` by number."""

    prepare: Plain = _PREPARE
    set_voltage: _SetVolts = Field(description="set the voltage")
    get_voltage: _AskOutput = Field(description="answers the voltage that is set, V")
    set_current_limit: _SetAmperes = Field(description="set the current limit")
    get_current_limit: _AskOutput = Field(description="answers the current limit, A")
    set_overvoltage: _SetVolts = Field(
        description="set the level of the supply's own over-voltage protection and switch it on"
    )
    get_overvoltage: _AskOutput = Field(description="answers the level of over-voltage protection, V")
    set_overcurrent: _SetAmperes = Field(
        description="set the level of the supply's own over-current protection and switch it on"
    )
    get_overcurrent: _AskOutput = Field(description="answers the level of over-current protection, A")
    get_tripped: _AskOutput = Field(
        description="answers 0 for each protection that has not tripped, and any other number for one that has"
    )
    clear_protection: _OfOutput = Field(description="let an output that tripped be switched on again")
    output_on: _OfOutput = Field(description="switch the output on")
    output_off: _OfOutput = Field(description="switch the output off")
    get_output: _AskOutput = Field(description="answers 1 where the output is on, else 0")
    measure: _AskOutput = Field(description="answers the voltage at the output, V, and the current out of it, A")
    arm_watchdog: Annotated[Command, *offering(watchdog_s=REAL)] = Field(
        default=Command(),
        description="start the supply's own watchdog, which switches every output off if it is not fed for so long",
        examples=["OUTP:PROT:WDOG:DEL {watchdog_s:.0f};:OUTP:PROT:WDOG ON"],
    )
    feed_watchdog: Plain = Field(
        default=Command(),
        description="feed the watchdog; leave it out where every message feeds it",
        examples=["OUTP:PROT:WDOG:RES"],
    )
    disarm_watchdog: Plain = Field(default=Command(), description="stop the watchdog", examples=["OUTP:PROT:WDOG OFF"])
    get_watchdog_tripped: Question = Field(
        default=Query(),
        description="answers 1 where the watchdog has switched the outputs off, else 0",
        examples=["OUTP:PROT:WDOG:TRIP?"],
    )

    @property
    def has_watchdog(self) -> bool:
        """Whether the supply has a watchdog that the program can start, or must feed."""
        return bool(self.arm_watchdog or self.feed_watchdog)


class SupplyDriver(Document):
    """Driver file of a dc supply."""

    role: Literal["supply"] = _ROLE
    title: Line = _TITLE
    commands: SupplyCommands


class ThermometerCommands(Part):
    """One channel a question; answers in degC."""

    prepare: Plain = _PREPARE
    measure_temperature: Annotated[Query, *asking(optional={"channel": WHOLE})] = Field(
        description="answers the temperature of a channel, degC"
    )


class ThermometerDriver(Document):
    """Driver file of a thermometer."""

    role: Literal["thermometer"] = _ROLE
    title: Line = _TITLE
    commands: ThermometerCommands


OscilloscopeDriver = ListPreambleDriver | FieldPreambleDriver
LoadDriver = RelayBankDriver | ElectronicLoadDriver
Driver = GeneratorDriver | OscilloscopeDriver | LoadDriver | SupplyDriver | ThermometerDriver

# Role -> the key that chooses the form, and the forms.
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
        PathProblems: no role or form, or an unknown one.
    """
    role = _choice(table, "role", ROLES)
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
