"""Steps that look at the amplifier from its supply: how low that may be, and what happens when it is switched."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from benchctl.documents.model.criteria import Expectations, expecting
from benchctl.documents.model.fields import PositiveSeconds, PositiveVolts, Volts, bounded
from benchctl.documents.model.level import LEVEL, DriveLevel, Level
from benchctl.documents.sequence_file.power_steps import Powered
from benchctl.documents.sequence_file.step_base import Named, State

LOWEST_FIGURES = ("lowest_playing_voltage", "lowest_waking_voltage")
TURN_ON_FIGURES = (
    "turn_on_thump",
    "turn_on_thump_energy",
    "turn_off_thump",
    "turn_off_thump_energy",
    "inrush_current",
)


class FindLowestSupply(Named, Powered):
    """Find the lowest supply voltage at which the amplifier plays, and the one from which it plays again: downwards in
    steps under a small tone until it is silent, then upwards."""

    kind: Literal["find_lowest_supply"] = "find_lowest_supply"
    level: DriveLevel = Field(default=Level(1.0, "watts"), description=LEVEL, json_schema_extra={"default": "1 W"})
    step_v: Annotated[Volts, bounded("V", at_least=0.01, at_most=2)] = Field(
        default=0.2, alias="step", description="how much the voltage changes at once"
    )
    to_v: PositiveVolts | None = Field(
        default=None,
        description="the lowest voltage to try; if left out, half of the lowest supply voltage of the amplifier file",
    )
    dwell_s: PositiveSeconds = Field(
        default=1.0, description="how long each voltage is held before the amplifier is looked at"
    )
    expect: Annotated[Expectations, *expecting(*LOWEST_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `lowest_playing_voltage: below 10.5 V`"
    )


class MeasureTurnOn(Named):
    """Put the undriven amplifier to sleep and wake it again, and record the thumps at its outputs and the inrush of its
    supply current. By its turn-on lead; one that has none, by its supply."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope", "load", "supply")
    STATE: ClassVar[tuple[State, ...]] = ("power", "load")

    kind: Literal["measure_turn_on"] = "measure_turn_on"
    expected_v: PositiveVolts = Field(
        default=5.0,
        description="the highest thump that the oscilloscope's range must show; where one goes beyond, the amplifier "
        "is switched again, twice at most, on a range four times as wide",
    )
    rest_s: PositiveSeconds = Field(default=5.0, description="how long it sleeps, so that its reservoir is empty again")
    for_s: PositiveSeconds | None = Field(
        default=None,
        description="how long the record of its waking is; if left out, two seconds more than the turn-on delay of the "
        "amplifier file",
    )
    expect: Annotated[Expectations, *expecting(*TURN_ON_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `turn_on_thump: below 1 V`"
    )


SupplyStep = FindLowestSupply | MeasureTurnOn
