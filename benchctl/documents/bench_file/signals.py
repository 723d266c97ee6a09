"""What each oscilloscope channel is wired to, through which probe, and what starts a record."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, WithJsonSchema

from benchctl.documents.model.fields import (
    ChannelName,
    Pair,
    PositiveAmperes,
    PositiveHertz,
    PositiveNumber,
    PositiveVolts,
    ScopeChannel,
    Tolerance,
    VoltsPerAmpere,
    bounded,
    reading_as,
)
from benchctl.documents.model.model_base import Part, PathProblem
from benchctl.documents.model.origin import ClampOrigin, ProbeOrigin
from benchctl.errors import quote


class _VoltageProbe(Part):
    ratio: PositiveNumber = Field(description="volts at the tip for one volt at the oscilloscope; 1 for a plain lead")
    rating_v: PositiveVolts = Field(description="highest voltage at the tip, peak")
    accuracy: Tolerance = Field(description="accuracy of its ratio")
    bandwidth_hz: PositiveHertz | None = Field(
        default=None, description="frequency at which it shows 3 dB less, by its data sheet"
    )
    origin: ProbeOrigin | None = Field(
        default=None, description="where ratio and accuracy come from; written by the program from `calibration`"
    )

    @property
    def units_per_volt(self) -> float:
        """Volts at the tip for a volt at the oscilloscope."""
        return self.ratio

    @property
    def stated_units_per_volt(self) -> float:
        """The same as the bench file itself says, without a calibration file."""
        return self.ratio if self.origin is None else self.origin.before.ratio

    @property
    def stated_accuracy(self) -> float:
        """The accuracy that the bench file itself says."""
        return self.accuracy if self.origin is None else self.origin.before.accuracy


class DifferentialProbe(_VoltageProbe):
    """A probe whose two tips may sit anywhere."""

    kind: Literal["differential"] = Field(description="two tips, neither of them earthed")


class SingleEndedProbe(_VoltageProbe):
    """A probe whose second lead is the oscilloscope's earth."""

    kind: Literal["single-ended"] = Field(description="one tip; the second lead is the oscilloscope's earth")


class CurrentClamp(Part):
    """A clamp that turns a current into a voltage."""

    kind: Literal["current clamp"] = Field(description="a clamp around the lead")
    sensitivity_v_per_a: Annotated[VoltsPerAmpere, bounded("V/A", above=0)] = Field(
        description="voltage that it gives for a current, such as `10 mV/A`"
    )
    rating_a: PositiveAmperes = Field(description="highest current, peak")
    accuracy: Tolerance = Field(description="accuracy of its sensitivity")
    origin: ClampOrigin | None = Field(
        default=None, description="where these values come from; written by the program from `calibration`"
    )

    @property
    def units_per_volt(self) -> float:
        """Amperes in the clamp for a volt at the oscilloscope."""
        return 1.0 / self.sensitivity_v_per_a

    @property
    def stated_units_per_volt(self) -> float:
        """The same as the bench file itself says, without a calibration file."""
        return 1.0 / (self.sensitivity_v_per_a if self.origin is None else self.origin.before.sensitivity_v_per_a)

    @property
    def stated_accuracy(self) -> float:
        """The accuracy that the bench file itself says."""
        return self.accuracy if self.origin is None else self.origin.before.accuracy


VoltageProbe = Annotated[DifferentialProbe | SingleEndedProbe, Field(discriminator="kind")]
CurrentProbe = Annotated[CurrentClamp, Field()]


class VoltageWiring(Part):
    """A voltage on an oscilloscope channel."""

    oscilloscope: ScopeChannel = Field(description="the oscilloscope's channel")
    probe: VoltageProbe = Field(
        description="what is between the signal and the channel: a differential or a single-ended probe"
    )


class CurrentWiring(Part):
    """A current on an oscilloscope channel."""

    oscilloscope: ScopeChannel = Field(description="the oscilloscope's channel")
    probe: CurrentProbe


@dataclass(frozen=True)
class Trigger:
    """What starts a record: the external trigger input, or a channel that carries the generator's sync output."""

    channel: int | None = None

    @property
    def is_external(self) -> bool:
        """Whether the external trigger input is used."""
        return self.channel is None


_TRIGGER = {"type": "string", "pattern": "^(external|channel [1-8])$", "examples": ["external", "channel 4"]}


def _parse_trigger(text: str) -> Trigger:
    channel = re.fullmatch(r"channel ([1-8])", text)
    if text != "external" and channel is None:
        raise ValueError(
            f"{quote(text)} is not accepted; write 'external' or, for the sync output on a channel, 'channel 4'"
        )
    return Trigger(int(channel.group(1)) if channel else None)


class Signals(Part):
    """What each oscilloscope channel is wired to."""

    outputs: dict[ChannelName, VoltageWiring] = Field(
        min_length=1, description="for each amplifier channel, the oscilloscope channel and the probe at its output"
    )
    supply_current: CurrentWiring | None = Field(
        default=None, description="a clamp around the supply lead; if left out, the supply's own reading is used"
    )
    supply_voltage: VoltageWiring | None = Field(
        default=None,
        description="a probe at the amplifier's supply terminals; if left out, there is no "
        "`supply_voltage` unless something else measures there",
    )
    trigger: Annotated[Trigger, reading_as(_parse_trigger), WithJsonSchema(_TRIGGER)] = Field(
        default=Trigger(),
        json_schema_extra={"default": "external"},
        description="`external`, or the channel that carries the generator's sync output",
    )

    def wirings(self) -> tuple[tuple[str, VoltageWiring | CurrentWiring], ...]:
        """Every wired signal by the name its trace has in a capture: `output A`, `supply current`, `supply voltage`."""
        outputs = tuple((f"output {name}", wiring) for name, wiring in self.outputs.items())
        supply = (("supply current", self.supply_current), ("supply voltage", self.supply_voltage))
        return (*outputs, *((name, wiring) for name, wiring in supply if wiring is not None))

    def shared_problems(self, *, probes_are_moved: bool) -> Iterator[PathProblem]:
        """Oscilloscope channels that carry two signals; outputs may share one where a hand moves the probe."""
        seen: dict[int, str] = {}
        for name, wiring in self.wirings():
            channel = wiring.oscilloscope
            before = seen.setdefault(channel, name)
            if before is name or (probes_are_moved and before.startswith("output ") and name.startswith("output ")):
                continue
            hint = ""
            if before.startswith("output ") and name.startswith("output "):
                hint = "; if one probe serves both, say 'probes: {by: hand}' in this file"
            yield PathProblem((*_path(name), "oscilloscope"), f"channel {channel} carries {before} already{hint}")
        if self.trigger.channel in seen:
            yield PathProblem(
                ("trigger",), f"channel {self.trigger.channel} carries {seen[self.trigger.channel]} already"
            )


def _path(signal: str) -> tuple[str, ...]:
    return ("outputs", signal.removeprefix("output ")) if signal.startswith("output ") else (signal.replace(" ", "_"),)


class BridgedWiring(Part):
    """The probe across two bridged outputs. Loads across them name the pair as their channel, such as `A+B`."""

    pair: Pair = Field(description="the outputs; the probe lies between the first one's + and the second one's -")
    oscilloscope: ScopeChannel = Field(description="the oscilloscope's channel, which may be that of an output")
    probe: VoltageProbe = Field(description="what is between the pair and the channel; it must not be earthed")

    @property
    def name(self) -> str:
        """Of the pair, as one channel: `A+B`."""
        return "+".join(self.pair)

    @property
    def across(self) -> VoltageWiring:
        """As the wiring of one output."""
        return VoltageWiring(oscilloscope=self.oscilloscope, probe=self.probe)
