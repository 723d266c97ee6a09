"""Driver file of a dc supply."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

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
from benchctl.documents.driver_file.language.commands import Command, is_none, offering
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import Queries, asking, asking_for
from benchctl.documents.driver_file.language.steps import Range, Steps, limits_of, steps_of
from benchctl.documents.driver_file.language.values import REAL
from benchctl.documents.model.model_base import PathProblem

_OfOutput = Annotated[Command, *offering(optional=OUTPUT)]
_OfOutputIfAny = Annotated[Command, *offering(optional=OUTPUT, may_lack=True)]
_AskOutput = Annotated[Query, *asking(optional=OUTPUT, may_lack=True)]
_AskVolts = Annotated[Query, *asking(quantity="V", optional=OUTPUT, may_lack=True)]
_AskAmperes = Annotated[Query, *asking(quantity="A", optional=OUTPUT, may_lack=True)]
_ProtectVolts = Annotated[Command, *offering(optional=OUTPUT, may_lack=True, voltage_v=REAL)]
_ProtectAmperes = Annotated[Command, *offering(optional=OUTPUT, may_lack=True, current_a=REAL)]

CAUSES: Mapping[str, str] = {
    "overvoltage": "over-voltage",
    "overcurrent": "over-current",
    "overtemperature": "over-temperature",
    "other": "another",
}
"""Why a supply switches an output off by itself: as a driver file writes it, and in words."""

ANY_CAUSE = "any"
"""The name of the one question that a driver file asks of all protections together."""

_BY_CAUSE, _CAUSES_SCHEMA = asking_for({}, extra=dict.fromkeys(CAUSES, ""), optional=OUTPUT, may_lack=True)
_IN_ONE, _ONE_SCHEMA = asking(optional=OUTPUT, may_lack=True)


def _read_tripped(value: Any) -> Any:
    """A question for each cause, or one question that answers for all protections."""
    names_causes = isinstance(value, Mapping) and any(cause in value for cause in CAUSES)
    if isinstance(value, Queries) or is_none(value) or names_causes:
        return _BY_CAUSE.func(value)  # type: ignore[call-arg]
    query = _IN_ONE.func(value)  # type: ignore[call-arg]
    return Queries({ANY_CAUSE: query}, written=query.written)


_AskTripped = Annotated[Queries, BeforeValidator(_read_tripped), _CAUSES_SCHEMA]


class SupplyCommands(CommonCommands):
    """Every command may choose its `{output}` by number."""

    set_voltage: Annotated[Command, *offering(optional={**OUTPUT, "current_a": REAL}, voltage_v=REAL)] = Field(
        description="set the voltage; where one command sets both, the current limit as it is goes along"
    )
    get_voltage: _AskVolts = Field(description="answers the voltage that is set, V")
    set_current_limit: Annotated[Command, *offering(optional={**OUTPUT, "voltage_v": REAL}, current_a=REAL)] = Field(
        description="set the current limit; where one command sets both, the voltage as it is goes along"
    )
    get_current_limit: _AskAmperes = Field(description="answers the current limit, A")
    set_overvoltage: _ProtectVolts = Field(
        description="set the level of the supply's own over-voltage protection and switch it on"
    )
    get_overvoltage: _AskVolts = Field(description="answers the level of over-voltage protection, V")
    set_overcurrent: _ProtectAmperes = Field(
        description="set the level of the supply's own over-current protection and switch it on"
    )
    get_overcurrent: _AskAmperes = Field(description="answers the level of over-current protection, A")
    get_tripped: _AskTripped = Field(
        description="answers 0 for each protection that has not tripped, and any other number for one that has; "
        "one question for all, or one for each cause",
        examples=[{"ask": "STAT:QUES:COND?", "bits": [0, 1]}],
    )
    clear_protection: _OfOutputIfAny = Field(description="let an output that tripped be switched on again")
    output_on: _OfOutput = Field(description="switch the output on")
    output_off: _OfOutput = Field(description="switch the output off")
    get_output: _AskOutput = Field(description="answers yes where the output is on, else no")
    measure: Annotated[Queries, *asking_for({"voltage": "V", "current": "A"}, optional=OUTPUT)] = Field(
        description="answers the voltage at the output, V, and the current out of it, A"
    )
    remote_sense_on: _OfOutput = Field(
        default=Command(),
        description="hold the voltage at the sense leads; sent for outputs with `remote_sense: yes` in the bench file",
        examples=["VOLT:SENS EXT,(@{output})"],
    )
    remote_sense_off: _OfOutput = Field(
        default=Command(),
        description="hold the voltage at the supply's own terminals; sent for all other outputs",
        examples=["VOLT:SENS INT,(@{output})"],
    )
    get_remote_sense: Annotated[Query, *asking(optional=OUTPUT)] = Field(
        default=Query(),
        description="answers yes where the voltage is held at the sense leads, else no",
        examples=[{"ask": "VOLT:SENS? (@{output})", "yes": "EXT", "no": "INT"}],
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
    def tells_no_output(self) -> bool:
        """Whether the question about trips is the same for every output, so that the answer is of none of them."""
        return not any("output" in query.uses for query in self.get_tripped.queries.values())

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
        commands = self.commands
        has_protection = bool(commands.set_overvoltage or commands.set_overcurrent)
        if has_protection and not commands.get_tripped and not commands.get_output:
            message = "where 'get_output' is none too, nothing could tell that a protection has switched the output off"
            yield PathProblem(("commands", "get_tripped"), message)
        for name in ("overvoltage", "overcurrent"):
            if getattr(commands, f"get_{name}") and not getattr(commands, f"set_{name}"):
                yield PathProblem(("commands", f"get_{name}"), f"there is nothing to ask where 'set_{name}' is none")
