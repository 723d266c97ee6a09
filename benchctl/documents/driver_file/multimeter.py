"""Driver file of a multimeter."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.driver_file.common import ROLE, CommonCommands, Confirmation, DriverFile, confirming
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import asking
from benchctl.documents.driver_file.language.values import REAL, WHOLE, Kind
from benchctl.documents.model.model_base import PathProblem
from benchctl.scpi.answer_form import Quantity

_PLACE: dict[str, Kind] = {"channel": WHOLE}


def _measuring(quantity: Quantity, range_: str) -> tuple[object, ...]:
    return asking(quantity=quantity, optional={**_PLACE, range_: REAL}, may_lack=True)


class MultimeterCommands(CommonCommands):
    """A question for each quantity that it measures; one that is left out it does not measure. With `{channel}` its
    scanner chooses the point, without it a person moves its leads."""

    measure_dc_voltage: Annotated[Query, *_measuring("V", "range_v")] = Field(
        default=Query(), description="answers a dc voltage, V", examples=["MEAS:VOLT:DC? {range_v:.6g}"]
    )
    measure_ac_voltage: Annotated[Query, *_measuring("V", "range_v")] = Field(
        default=Query(), description="answers an ac voltage, V RMS", examples=["MEAS:VOLT:AC?"]
    )
    measure_resistance: Annotated[Query, *_measuring("ohm", "range_ohm")] = Field(
        default=Query(), description="answers a resistance, ohm", examples=["MEAS:RES?"]
    )
    measure_temperature: Annotated[Query, *asking(quantity="C", optional=_PLACE, may_lack=True)] = Field(
        default=Query(), description="answers the temperature of a thermocouple, degC", examples=["MEAS:TEMP? TC,K"]
    )

    def measure(self, quantity: str) -> Query:
        """The question for a quantity, such as `dc voltage`; empty where it does not measure that."""
        query = getattr(self, f"measure_{quantity.replace(' ', '_')}")
        assert isinstance(query, Query)
        return query


class MultimeterDriver(DriverFile):
    """Driver file of a multimeter."""

    role: Literal["multimeter"] = ROLE
    confirm: Annotated[tuple[Confirmation, ...], *confirming()] = Field(
        default_factory=tuple,
        description="questions with the answer that is right, asked after `prepare`",
        examples=[{"SOUR:VOLT:OFFS?": "0"}],
    )
    commands: MultimeterCommands

    @property
    def has_scanner(self) -> bool:
        """Whether a point is chosen by the channel of a scanner."""
        return any("channel" in query.uses for query in self._questions)

    @property
    def _questions(self) -> tuple[Query, ...]:
        commands = self.commands
        every = (
            commands.measure_dc_voltage,
            commands.measure_ac_voltage,
            commands.measure_resistance,
            commands.measure_temperature,
        )
        return tuple(query for query in every if query)

    def problems(self) -> Iterator[PathProblem]:
        if not self._questions:
            yield PathProblem(("commands",), "a multimeter that measures nothing; give measure_dc_voltage or another")
        if len({"channel" in query.uses for query in self._questions}) > 1:
            message = "some questions use '{channel}' and some do not; a scanner carries every quantity, or none"
            yield PathProblem(("commands",), message)
