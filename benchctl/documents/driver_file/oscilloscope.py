"""Driver files of an oscilloscope."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.driver_file.common import (
    ROLE,
    CommonCommands,
    Confirmation,
    DriverFile,
    Plain,
    Question,
    confirming,
)
from benchctl.documents.driver_file.language.commands import Command, offering
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import asking
from benchctl.documents.driver_file.language.steps import Range, Steps, limits_of, steps_of
from benchctl.documents.driver_file.language.values import REAL, WHOLE
from benchctl.documents.model.fields import Whole, counted
from benchctl.documents.model.model_base import Part


class OscilloscopeCommands(CommonCommands):
    """What both forms of preamble share."""

    show_channel: Annotated[Command, *offering(channel=WHOLE)] = Field(description="take this channel into the record")
    hide_channel: Annotated[Command, *offering(channel=WHOLE)] = Field(
        description="leave this channel out of the record"
    )
    set_vertical: Annotated[Command, *offering(channel=WHOLE, volts_per_division=REAL, offset_v=REAL)] = Field(
        description="set a channel's range and the voltage in the middle of the screen"
    )
    get_vertical: Annotated[Query, *asking(quantity="V", channel=WHOLE)] = Field(
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
    get_finished: Question = Field(description="answers yes once the record is whole")
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


class _OscilloscopeDriver(DriverFile):
    """What every form has."""

    role: Literal["oscilloscope"] = ROLE
    confirm: Annotated[tuple[Confirmation, ...], *confirming()] = Field(
        default_factory=tuple,
        description="questions with the answer that is right, asked after `prepare`",
        examples=[{"SOUR:VOLT:OFFS?": "0"}],
    )
    steps: Annotated[Mapping[str, Steps], *steps_of("oscilloscope")] = Field(
        default_factory=dict, description="the steps in which a setting can be set"
    )
    limits: Annotated[Mapping[str, Range], *limits_of("oscilloscope")] = Field(
        default_factory=dict, description="the least and the most that a setting takes"
    )


class ListPreambleDriver(_OscilloscopeDriver):
    """Driver file of an oscilloscope whose preamble is one list."""

    preamble: Literal["list"] = Field(description="one question answers all of the preamble")
    divisions: Divisions
    commands: ListPreambleCommands


class FieldPreambleDriver(_OscilloscopeDriver):
    """Driver file of an oscilloscope whose preamble is a question a field."""

    preamble: Literal["fields"] = Field(description="a question for each field of the preamble")
    divisions: Divisions
    commands: FieldPreambleCommands


OscilloscopeDriver = ListPreambleDriver | FieldPreambleDriver
