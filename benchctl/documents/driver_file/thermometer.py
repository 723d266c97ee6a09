"""Driver file of a thermometer."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.driver_file.common import ROLE, CommonCommands, Confirmation, DriverFile, confirming
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import asking
from benchctl.documents.driver_file.language.values import WHOLE


class ThermometerCommands(CommonCommands):
    """One channel a question; answers in degC unless `unit` says otherwise."""

    measure_temperature: Annotated[Query, *asking(quantity="C", optional={"channel": WHOLE})] = Field(
        description="answers the temperature of a channel, degC"
    )


class ThermometerDriver(DriverFile):
    """Driver file of a thermometer."""

    role: Literal["thermometer"] = ROLE
    confirm: Annotated[tuple[Confirmation, ...], *confirming()] = Field(
        default_factory=tuple,
        description="questions with the answer that is right, asked after `prepare`",
        examples=[{"SOUR:VOLT:OFFS?": "0"}],
    )
    commands: ThermometerCommands
