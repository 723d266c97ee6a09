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
    OptionalQuestion,
    Plain,
    confirming,
    switching_problems,
)
from benchctl.documents.driver_file.language.commands import Command, offering
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import asking
from benchctl.documents.driver_file.language.steps import Range, Steps, limits_of, steps_of
from benchctl.documents.driver_file.language.values import REAL, WORD
from benchctl.documents.driver_file.relay_questions import RELAYS, ClosedQuery, asking_for_closed
from benchctl.documents.model.fields import PositiveOhms, RangeWord, Whole, counted
from benchctl.documents.model.model_base import PathProblem

_SWITCHING = offering(RELAYS)


class RelayBankCommands(CommonCommands):
    """Relays by number. `{relays}` is put in as `101,103`; with `{relay}` or `{relay_letter}` the command is sent for
    one relay after the other; `{mask}` has a bit for each of these relays, `{closed_mask}` a bit for each relay that
    is to be closed afterwards."""

    close: Annotated[Command, *_SWITCHING] = Field(description="close these relays, and leave the others")
    open: Annotated[Command, *_SWITCHING] = Field(description="open these relays, and leave the others")
    open_all: Plain = Field(
        default=Command(), description="open every relay of the bank; if left out, each is opened with `open`"
    )
    get_closed: Annotated[ClosedQuery, *asking_for_closed()] = Field(
        description="answers which relays are closed; `none`: they are told, and nobody sees whether they obey"
    )


class RelayBankDriver(DriverFile):
    """Driver file of a bank of load resistors behind relays."""

    role: Literal["load"] = ROLE
    kind: Literal["relay bank"] = Field(description="resistors behind relays")
    first_relay: Annotated[Whole, counted(at_least=0, at_most=99_999, example=1)] = Field(
        default=1, description="number of the relay that is the lowest bit of a mask"
    )
    confirm: Annotated[tuple[Confirmation, ...], *confirming()] = Field(
        default_factory=tuple,
        description="questions with the answer that is right, asked after `prepare`",
        examples=[{"SOUR:VOLT:OFFS?": "0"}],
    )
    commands: RelayBankCommands

    def problems(self) -> Iterator[PathProblem]:
        yield from switching_problems(self, "close")


class ElectronicLoadCommands(CommonCommands):
    """Resistance mode. `{range}` is the word of the first of `ranges` that reaches the resistance."""

    set_resistance: Annotated[Command, *offering(optional={"range": WORD}, resistance_ohm=REAL)] = Field(
        description="set the resistance"
    )
    get_resistance: Annotated[Query, *asking(quantity="ohm", may_lack=True)] = Field(
        description="answers the resistance that is set, ohm"
    )
    connect: Plain = Field(description="switch the input on")
    disconnect: Plain = Field(description="switch the input off")
    get_connected: OptionalQuestion = Field(description="answers yes where the input is on, else no")


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
    ranges: dict[RangeWord, PositiveOhms] = Field(
        default_factory=dict,
        description="words of the ranges, each with the highest resistance that it reaches; `{range}` is one of them",
        examples=[{"CRL": "4 ohm", "CRH": "4 kohm"}],
    )
    commands: ElectronicLoadCommands

    def range_for(self, resistance_ohm: float) -> str:
        """The word of the lowest range that reaches a resistance; empty where none does, or where there are none."""
        reaching = [(highest, word) for word, highest in self.ranges.items() if resistance_ohm <= highest]
        return min(reaching)[1] if reaching else ""

    def problems(self) -> Iterator[PathProblem]:
        yield from switching_problems(self, "connect")
        if "range" in self.commands.set_resistance.uses and not self.ranges:
            message = "'{range}' is used, and there are no 'ranges'; give the words and what each reaches"
            yield PathProblem(("commands", "set_resistance"), message)
        if self.ranges and "range" not in self.commands.set_resistance.uses:
            yield PathProblem(("ranges",), "no command uses '{range}', so the instrument would never be told")
