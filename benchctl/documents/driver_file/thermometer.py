"""Driver file of a thermometer."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.driver_file.common import ROLE, CommonCommands, Confirmation, DriverFile, confirming
from benchctl.documents.driver_file.language.commands import Command, offering
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import asking
from benchctl.documents.driver_file.language.values import WHOLE, WHOLES


class ThermometerCommands(CommonCommands):
    """One channel a question, or all in one answer; in degC unless `unit` says otherwise."""

    prepare: Annotated[Command, *offering(optional={"channels": WHOLES}, may_lack=True)] = Field(
        default=Command(),
        description="sent after reset, before anything else; `{channels}` are those of the bench file: `101,103`",
        examples=["ROUT:SCAN (@{channels})"],
    )
    measure_temperature: Annotated[Query, *asking(quantity="C", optional={"channel": WHOLE})] = Field(
        description="answers the temperature of a channel, degC. Without `{channel}` and `field: channel`, the answer "
        "has a field for each channel of the bench file, in order"
    )

    @property
    def asks_for_all(self) -> bool:
        """Whether one answer holds every channel."""
        return "channel" not in self.measure_temperature.uses


class ThermometerDriver(DriverFile):
    """Driver file of a thermometer."""

    role: Literal["thermometer"] = ROLE
    confirm: Annotated[tuple[Confirmation, ...], *confirming()] = Field(
        default_factory=tuple,
        description="questions with the answer that is right, asked after `prepare`",
        examples=[{"SOUR:VOLT:OFFS?": "0"}],
    )
    commands: ThermometerCommands
