"""The `fitted:` section of an amplifier file: what a fit to a run of this unit found, written by `benchctl fit`.

It is of one unit on one day. Preflight reads it where it tells more than the rating plate, and a dry run takes its
physics from it where the `simulation:` section has no value.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.documents.model.fields import (
    AudioHertz,
    ChannelName,
    Date,
    Gain,
    Line,
    PositiveAmperes,
    PositiveFarads,
    PositiveNumber,
    PositiveOhms,
    PositiveVolts,
    Ratio,
    YesNo,
    bounded,
)
from benchctl.documents.model.model_base import Part, PathProblem

RailsMove = Literal["within a cycle", "from cycle to cycle"]

_VALUE, _U = "value that was fitted", "its uncertainty, k = 2"

USUAL_SATURATION_V = 1.5
"""What an output stage leaves of its rail (common practice), where one supply voltage did not tell it."""


class FittedValue(Part):
    """A value with its uncertainty."""

    def problems(self) -> Iterator[PathProblem]:
        value, uncertainty = (each for _, each in self)
        if uncertainty > value:
            yield PathProblem(("uncertainty",), "it is more than the value, which then tells nothing")


class FittedOhms(FittedValue):
    """A resistance."""

    value_ohm: PositiveOhms = Field(description=_VALUE)
    uncertainty_ohm: PositiveOhms = Field(description=_U)


class FittedFarads(FittedValue):
    """A capacitance."""

    value_f: PositiveFarads = Field(description=_VALUE)
    uncertainty_f: PositiveFarads = Field(description=_U)


class FittedVolts(FittedValue):
    """A voltage."""

    value_v: PositiveVolts = Field(description=_VALUE)
    uncertainty_v: PositiveVolts = Field(description=_U)


class FittedAmperes(FittedValue):
    """A current."""

    value_a: PositiveAmperes = Field(description=_VALUE)
    uncertainty_a: PositiveAmperes = Field(description=_U)


class FittedNumber(FittedValue):
    """A number without a unit."""

    value: PositiveNumber = Field(description=_VALUE)
    uncertainty: PositiveNumber = Field(description=_U)


class FittedGain(FittedValue):
    """A gain, without load."""

    value: Gain = Field(description=_VALUE)
    uncertainty: PositiveNumber = Field(description=_U)


class FittedPart(FittedValue):
    """A part of a whole."""

    value: Annotated[Ratio, bounded("1", above=0, at_most=1)] = Field(description=_VALUE)
    uncertainty: Annotated[Ratio, bounded("1", above=0)] = Field(description=_U)


class AmplifierFitted(Part):
    """What a run of this unit has told of its rails, converter and outputs. What the run did not tell is left out."""

    run: Line = Field(description="name of the run folder that it comes from")
    date: Date = Field(description="day of that run")
    simulated: YesNo = Field(default=False, description="`yes` where that run was a dry run, and no measurement")
    bench: Line | None = Field(default=None, description="title of the bench file of that run")
    loads: tuple[PositiveOhms, ...] = Field(default=(), description="nominal loads that it was driven into")
    supply_voltages: tuple[PositiveVolts, ...] = Field(
        default=(), description="what the supply was set to while it was driven"
    )
    tones: tuple[AudioHertz, ...] = Field(default=(), description="frequencies that it was driven with")
    rails_move: RailsMove = Field(
        default="within a cycle", description="whether a cycle of the tone is seen in the rails, or its mean alone"
    )
    supply_path: FittedOhms | None = Field(
        default=None, description="resistance from the supply to the amplifier's terminals; it holds on that bench"
    )
    rail_stiffness: FittedOhms | None = Field(default=None, description="source resistance of the rails, both as one")
    reservoir: FittedFarads | None = Field(default=None, description="reservoir of the rails, both as one")
    headroom: FittedVolts | None = Field(
        default=None, description="rail less what the output stage leaves of it, unloaded, at the nominal supply"
    )
    input_ratio: FittedNumber | None = Field(
        default=None, description="amperes from the supply for an ampere from the rails"
    )
    rail: FittedVolts | None = Field(default=None, description="each rail, unloaded, at the nominal supply")
    saturation: FittedVolts | None = Field(default=None, description="what an output stage leaves of its rail")
    converter_efficiency: FittedPart | None = Field(default=None, description="efficiency of the supply's converter")
    output_resistance: FittedOhms | None = Field(default=None, description="resistance of each output")
    conduction_resistance: FittedOhms | None = Field(
        default=None, description="class D: resistance in the path of the output current"
    )
    knee: FittedPart | None = Field(default=None, description="part of the swing over which clipping sets in")
    idle_current: FittedAmperes | None = Field(
        default=None, description="idle current of the supply, with nothing at the inputs"
    )
    gain: dict[ChannelName, FittedGain] = Field(default_factory=dict, description="gain of each channel, without load")

    def physics(self, given: AmplifierSimulation | None, nominal_v: float) -> AmplifierSimulation:
        """For a dry run: what is given, and what was fitted where nothing is given."""
        return (given or AmplifierSimulation()).model_copy(update=self.fills(given, nominal_v))

    def fills(self, given: AmplifierSimulation | None, nominal_v: float) -> dict[str, float]:
        """The numbers of a dry run that are taken from here, as none are given."""
        return {name: value for name, value in self._physics(nominal_v) if getattr(given, name, None) is None}

    def _physics(self, nominal_v: float) -> Iterator[tuple[str, float]]:
        yield from self._rails(nominal_v)
        if self.rail_stiffness is not None:
            yield "rail_stiffness_ohm", self.rail_stiffness.value_ohm
        if self.reservoir is not None:
            yield "reservoir_f", self.reservoir.value_f
        if self.output_resistance is not None:
            yield "output_resistance_ohm", self.output_resistance.value_ohm
        if self.conduction_resistance is not None:
            yield "conduction_ohm", self.conduction_resistance.value_ohm
        if self.knee is not None:
            yield "soft_knee", min(self.knee.value, 0.9)
        if self.gain:
            yield "gain", sum(each.value for each in self.gain.values()) / len(self.gain)

    def _rails(self, nominal_v: float) -> Iterator[tuple[str, float]]:
        """Rail, saturation and efficiency together, for only headroom and n/eta may be known: these are kept."""
        if self.headroom is None:
            return
        saturation_v = USUAL_SATURATION_V if self.saturation is None else self.saturation.value_v
        rail_v = self.headroom.value_v + saturation_v
        yield "saturation_v", saturation_v
        yield "rail_v", rail_v
        if self.input_ratio is not None:
            yield "converter_efficiency", min(rail_v / nominal_v / self.input_ratio.value, 1.0)
