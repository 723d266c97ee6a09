"""Driver files of the load: resistors behind relays, or an electronic load."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
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
    switching_problems,
)
from benchctl.documents.driver_file.language.commands import Command, offering
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import asking
from benchctl.documents.driver_file.language.steps import Range, Steps, limits_of, steps_of
from benchctl.documents.driver_file.language.values import REAL, WHOLES
from benchctl.documents.model.model_base import PathProblem


class RelayBankCommands(CommonCommands):
    """Relays by number; `{relays}` is put in as `101,103`."""

    close: Annotated[Command, *offering(relays=WHOLES)] = Field(description="close these relays")
    open: Annotated[Command, *offering(relays=WHOLES)] = Field(description="open these relays")
    open_all: Plain = Field(description="open every relay of the bank")
    get_closed: Annotated[Query, *asking(relays=WHOLES)] = Field(
        description="answers yes or no for each relay, separated by commas"
    )


class RelayBankDriver(DriverFile):
    """Driver file of a bank of load resistors behind relays."""

    role: Literal["load"] = ROLE
    kind: Literal["relay bank"] = Field(description="resistors behind relays")
    confirm: Annotated[tuple[Confirmation, ...], *confirming()] = Field(
        default_factory=tuple,
        description="questions with the answer that is right, asked after `prepare`",
        examples=[{"SOUR:VOLT:OFFS?": "0"}],
    )
    commands: RelayBankCommands

    def problems(self) -> Iterator[PathProblem]:
        yield from switching_problems(self, "close")


class ElectronicLoadCommands(CommonCommands):
    """Resistance mode."""

    set_resistance: Annotated[Command, *offering(resistance_ohm=REAL)] = Field(description="set the resistance")
    get_resistance: Annotated[Query, *asking(quantity="ohm", may_lack=True)] = Field(
        description="answers the resistance that is set, ohm"
    )
    connect: Plain = Field(description="switch the input on")
    disconnect: Plain = Field(description="switch the input off")
    get_connected: Question = Field(description="answers yes where the input is on, else no")


class ElectronicLoadDriver(DriverFile):
    """Driver file of an electronic load."""

    role: Literal["load"] = ROLE
    kind: Literal["electronic"] = Field(description="an electronic load in resistance mode")
    confirm: Annotated[tuple[Confirmation, ...], *confirming()] = Field(
        default_factory=tuple,
        description="questions with the answer that is right, asked after `prepare`",
        examples=[{"SOUR:VOLT:OFFS?": "0"}],
    )
    steps: Annotated[Mapping[str, Steps], *steps_of("load")] = Field(
        default_factory=dict, description="the steps in which a setting can be set"
    )
    limits: Annotated[Mapping[str, Range], *limits_of("load")] = Field(
        default_factory=dict, description="the least and the most that a setting takes"
    )
    commands: ElectronicLoadCommands

    def problems(self) -> Iterator[PathProblem]:
        yield from switching_problems(self, "connect")
