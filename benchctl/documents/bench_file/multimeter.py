"""The points at which a multimeter measures, and how far it may be off there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.model.accuracy import Accuracy, ResistanceAccuracy, TemperatureAccuracy, VoltageAccuracy
from benchctl.documents.model.fields import Line, PositiveOhms, PositiveVolts, ScanChannel, YesNo
from benchctl.documents.model.model_base import Part, PathProblem

Quantity = Literal["dc voltage", "ac voltage", "resistance", "temperature"]
UNITS: Mapping[Quantity, str] = {"dc voltage": "V", "ac voltage": "V", "resistance": "ohm", "temperature": "degC"}

_RANGE = "full scale of the range that it is in there; what its accuracy says of the range is a part of this"


class _Point(Part):
    channel: ScanChannel | None = Field(
        default=None,
        description="channel of the multimeter's scanner; if left out, a person puts its leads there when asked",
    )
    where: Line | None = Field(
        default=None,
        description="where that is, for the person who is asked",
        examples=["R41, top side of the board, plus on the transistor"],
    )

    @property
    def full_scale(self) -> float:
        """Of the range, in the quantity's unit; 0 for a temperature, which has none."""
        return 0.0


class DcPoint(_Point):
    """A dc voltage, such as the bias across an emitter resistor, or a rail."""

    measures: Literal["dc voltage"] = Field(description="what is measured there: a dc voltage")
    range_v: PositiveVolts = Field(description=_RANGE, examples=["100 mV"])
    at_terminals: YesNo = Field(
        default=False,
        description="whether this is the voltage at the amplifier's supply terminals, at its own screws; steps then "
        "read it beside the supply",
    )

    def problems(self) -> Iterator[PathProblem]:
        if self.at_terminals and self.channel is None:
            yield PathProblem(
                ("at_terminals",),
                "steps read the terminals while the amplifier plays, and nobody moves leads then; give the channel of "
                "a scanner",
            )

    @property
    def full_scale(self) -> float:
        return self.range_v


class AcPoint(_Point):
    """An ac voltage, RMS, such as the mains."""

    measures: Literal["ac voltage"] = Field(description="what is measured there: an ac voltage, RMS")
    range_v: PositiveVolts = Field(description=_RANGE, examples=["100 mV"])

    @property
    def full_scale(self) -> float:
        return self.range_v


class ResistancePoint(_Point):
    """A resistance of what is without power."""

    measures: Literal["resistance"] = Field(
        description="what is measured there: a resistance, of what is without power"
    )
    range_ohm: PositiveOhms = Field(description=_RANGE, examples=["100 ohm"])

    @property
    def full_scale(self) -> float:
        return self.range_ohm


class TemperaturePoint(_Point):
    """A thermocouple, which the multimeter turns into degrees itself."""

    measures: Literal["temperature"] = Field(description="what is measured there: the temperature of a thermocouple")


Point = Annotated[DcPoint | AcPoint | ResistancePoint | TemperaturePoint, Field(discriminator="measures")]


class MultimeterAccuracies(Part):
    """How far its readings may be off, for each quantity that a point measures."""

    dc_voltage: VoltageAccuracy | None = Field(default=None, description="of a dc voltage")
    ac_voltage: VoltageAccuracy | None = Field(default=None, description="of an ac voltage")
    resistance: ResistanceAccuracy | None = Field(default=None, description="of a resistance")
    temperature: TemperatureAccuracy | None = Field(default=None, description="of a temperature, the sensor included")

    def of(self, quantity: Quantity) -> Accuracy | TemperatureAccuracy | None:
        """The accuracy of a quantity; None where none is stated."""
        stated: Accuracy | TemperatureAccuracy | None = getattr(self, key_for(quantity))
        return stated


def key_for(quantity: Quantity) -> str:
    """The key of a quantity's accuracy, and the name of its figure: `dc voltage` -> `dc_voltage`."""
    return quantity.replace(" ", "_")
