"""Driver file of a dc supply."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.driver_file.common import (
    OUTPUT,
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
from benchctl.documents.driver_file.language.questions import Queries, asking, asking_for
from benchctl.documents.driver_file.language.steps import Range, Steps, limits_of, steps_of
from benchctl.documents.driver_file.language.values import REAL
from benchctl.documents.model.model_base import PathProblem

_OfOutput = Annotated[Command, *offering(optional=OUTPUT)]
_AskOutput = Annotated[Query, *asking(optional=OUTPUT)]
_AskVolts = Annotated[Query, *asking(quantity="V", optional=OUTPUT)]
_AskAmperes = Annotated[Query, *asking(quantity="A", optional=OUTPUT)]
_SetVolts = Annotated[Command, *offering(optional=OUTPUT, voltage_v=REAL)]
_SetAmperes = Annotated[Command, *offering(optional=OUTPUT, current_a=REAL)]


class SupplyCommands(CommonCommands):
    """Every command may choose its `{output}` by number."""

    set_voltage: _SetVolts = Field(description="set the voltage")
    get_voltage: _AskVolts = Field(description="answers the voltage that is set, V")
    set_current_limit: _SetAmperes = Field(description="set the current limit")
    get_current_limit: _AskAmperes = Field(description="answers the current limit, A")
    set_overvoltage: _SetVolts = Field(
        description="set the level of the supply's own over-voltage protection and switch it on"
    )
    get_overvoltage: _AskVolts = Field(description="answers the level of over-voltage protection, V")
    set_overcurrent: _SetAmperes = Field(
        description="set the level of the supply's own over-current protection and switch it on"
    )
    get_overcurrent: _AskAmperes = Field(description="answers the level of over-current protection, A")
    get_tripped: _AskOutput = Field(
        description="answers 0 for each protection that has not tripped, and any other number for one that has"
    )
    clear_protection: _OfOutput = Field(description="let an output that tripped be switched on again")
    output_on: _OfOutput = Field(description="switch the output on")
    output_off: _OfOutput = Field(description="switch the output off")
    get_output: _AskOutput = Field(description="answers yes where the output is on, else no")
    measure: Annotated[Queries, *asking_for({"voltage": "V", "current": "A"}, optional=OUTPUT)] = Field(
        description="answers the voltage at the output, V, and the current out of it, A"
    )
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
        description="answers yes where the watchdog has switched the outputs off, else no",
        examples=["OUTP:PROT:WDOG:TRIP?"],
    )

    @property
    def has_watchdog(self) -> bool:
        """Whether the supply has a watchdog that the program can start, or must feed."""
        return bool(self.arm_watchdog or self.feed_watchdog)


class SupplyDriver(DriverFile):
    """Driver file of a dc supply."""

    role: Literal["supply"] = ROLE
    confirm: Annotated[tuple[Confirmation, ...], *confirming(OUTPUT)] = Field(
        default_factory=tuple,
        description="questions with the answer that is right, asked after `prepare`",
        examples=[{"SOUR:VOLT:OFFS?": "0"}],
    )
    steps: Annotated[Mapping[str, Steps], *steps_of("supply")] = Field(
        default_factory=dict, description="the steps in which a setting can be set"
    )
    limits: Annotated[Mapping[str, Range], *limits_of("supply")] = Field(
        default_factory=dict, description="the least and the most that a setting takes"
    )
    commands: SupplyCommands

    def problems(self) -> Iterator[PathProblem]:
        yield from switching_problems(self, "output_on")
