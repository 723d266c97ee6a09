"""Faults of a simulated amplifier that a repairer meets: what is wrong inside, whatever the rating plate says."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.model.fields import ChannelName, Gain, PositiveNumber, Ratio, Temperature, Volts, bounded
from benchctl.documents.model.model_base import Part, PathProblem


class OpenDevice(Part):
    """An output device that does not conduct any more: half of each wave is missing."""

    channel: ChannelName = Field(description="the amplifier's channel")
    half: Literal["upper", "lower"] = Field(description="the half of the wave that is missing")


class DryJoint(Part):
    """A joint that opens when it is warm and closes again when it has cooled; its channel is silent meanwhile."""

    channel: ChannelName = Field(description="the amplifier's channel")
    opens_c: Temperature = Field(default=50.0, description="heatsink temperature at which it opens")
    closes_c: Temperature = Field(default=42.0, description="heatsink temperature at which it makes contact again")

    def problems(self) -> Iterator[PathProblem]:
        if self.closes_c >= self.opens_c:
            yield PathProblem(("closes",), "it must close at a lower temperature than it opens at")


class WeakRail(Part):
    """One of the two rails is not like the other: a dry reservoir capacitor, or a winding or diode of its own."""

    rail: Literal["plus", "minus"] = Field(description="which of the two")
    capacitance: Annotated[Ratio, bounded("1", above=0, at_most=1)] = Field(
        default=1.0, description="what is left of its reservoir's capacitance, such as `5 %` of a dead capacitor"
    )
    voltage: Annotated[Ratio, bounded("1", above=0, at_most=1)] = Field(
        default=1.0, description="its unloaded voltage, as a part of the other's"
    )

    def problems(self) -> Iterator[PathProblem]:
        if self.capacitance == self.voltage == 1.0:
            yield PathProblem((), "give 'capacitance' or 'voltage', or leave it out")


class AmplifierFaults(Part):
    """Any number of faults at once; what is left out is sound."""

    aged_reservoir: Annotated[Ratio, bounded("1", above=0, at_most=1)] | None = Field(
        default=None, description="what is left of the reservoir's capacitance"
    )
    weak_rail: WeakRail | None = Field(default=None, description="a rail that is not like the other")
    open_device: OpenDevice | None = Field(default=None, description="an output device that is open")
    bias_too_high: PositiveNumber | None = Field(
        default=None, description="factor by which the bias is too high", examples=[4]
    )
    dc_on_output: dict[ChannelName, Volts] = Field(
        default_factory=dict, description="dc at an output that should not be there, by channel"
    )
    gain_mismatch: dict[ChannelName, Gain] = Field(
        default_factory=dict, description="gain of a channel over its right gain, by channel, such as `-1.5 dB`"
    )
    dry_joint: DryJoint | None = Field(default=None, description="a joint that opens when it is warm")

    def channels(self) -> Iterator[tuple[tuple[str, ...], str]]:
        """Every channel that is named, and where."""
        if self.open_device is not None:
            yield ("open_device", "channel"), self.open_device.channel
        for channel in self.dc_on_output:
            yield ("dc_on_output", channel), channel
        for channel in self.gain_mismatch:
            yield ("gain_mismatch", channel), channel
        if self.dry_joint is not None:
            yield ("dry_joint", "channel"), self.dry_joint.channel
