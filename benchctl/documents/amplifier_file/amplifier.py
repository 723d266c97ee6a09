"""Amplifier files: what the rating plate claims, and what the amplifier can bear."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.documents.amplifier_file.fitted import AmplifierFitted
from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.documents.amplifier_file.unit import Unit
from benchctl.documents.model.fields import (
    Amperes,
    AmplifierClass,
    ChannelName,
    Distortion,
    KelvinsPerWatt,
    Line,
    NotNegativeSeconds,
    Outputs,
    Pair,
    PositiveAmperes,
    PositiveOhms,
    PositiveSeconds,
    PositiveVolts,
    PositiveWatts,
    Ratio,
    Temperature,
    Unwatched,
    bounded,
)
from benchctl.documents.model.limits import output_of
from benchctl.documents.model.model_base import Document, Part, PathProblem, doubled, key_of
from benchctl.quantity import render

# Worst heat over full power. A linear stage dissipates 0.4 of its ideal full power at a third of it (Boylestad and
# Nashelsky, ch. 12); class D is hottest at full power, where stage and converter lose about so much.
HEAT_OF_LINEAR, HEAT_OF_CLASS_D = 0.4, 0.2
ROOM_C = 25.0

FuseType = Literal["blade", "large blade", "bolt-down"]


class SupplyRating(Part):
    """What the amplifier wants of its supply."""

    nominal_v: PositiveVolts = Field(description="supply voltage at which the ratings hold")
    minimum_v: PositiveVolts = Field(description="lowest supply voltage at which it works")
    maximum_v: PositiveVolts = Field(description="highest supply voltage; above it the amplifier may be harmed")
    fuse_a: PositiveAmperes = Field(
        description="rating of the fuse in its supply lead; of several side by side, their sum"
    )
    fuse_type: FuseType | None = Field(
        default=None,
        description="its type, which tells how long it carries an overload; if left out, it may open as soon as the "
        "fastest of them and as late as the slowest",
    )

    def problems(self) -> Iterator[PathProblem]:
        if self.minimum_v > self.nominal_v:
            yield PathProblem(("minimum",), "the minimum supply voltage must not lie above the nominal one")
        if self.maximum_v < self.nominal_v:
            yield PathProblem(("maximum",), "the maximum supply voltage must not lie below the nominal one")


class TurnOn(Part):
    """The thin lead that wakes the amplifier."""

    voltage_v: PositiveVolts = Field(default=12.0, description="voltage that wakes it")
    delay_s: NotNegativeSeconds = Field(default=2.0, description="time from waking until it plays")


class Rating(Part):
    """One line of the rating plate: power per channel into a load, all channels driven."""

    load_ohm: PositiveOhms = Field(description="nominal load at each channel")
    power_w: PositiveWatts = Field(description="rated power per channel, all channels driven")
    thd_n: Distortion = Field(default=0.01, description="distortion at which that power is claimed")


class BridgedRating(Part):
    """What the plate says of two outputs that drive one load between them."""

    pair: Pair = Field(description="the outputs; the load lies between the first one's + and the second one's -")
    minimum_load_ohm: PositiveOhms = Field(description="lowest load across the pair; each half sees half of it")
    rated: tuple[Rating, ...] = Field(min_length=1, description="rated power into each load across the pair")

    @property
    def name(self) -> str:
        """Of the pair, as one channel: `A+B`."""
        return "+".join(self.pair)


class HeatsinkRating(Part):
    """What the heatsink may reach, and how it warms."""

    maximum_c: Temperature = Field(description="highest temperature of the heatsink; above it every run stops")
    resistance_k_per_w: Annotated[KelvinsPerWatt, bounded("K/W", above=0)] | None = Field(
        default=None,
        description="thermal resistance from the heatsink to the air; if left out, one with which the "
        "amplifier's worst heat brings the heatsink to its maximum in a room at 25 degC",
    )
    time_constant_s: PositiveSeconds = Field(
        default=500.0, description="time constant with which it warms and cools; a `soak` measures it"
    )


class Amplifier(Document):
    """A whole amplifier file."""

    title: Line = Field(description="name of the model, as tables and folders show it", examples=["HX 2150"])
    serial: Line | None = Field(default=None, description="serial number of the unit under test", examples=["17-0042"])
    unit: Unit | None = Field(default=None, description="whose unit is under test, and why")
    amplifier_class: AmplifierClass = Field(alias="class", description="class of its output stage")
    channels: tuple[ChannelName, ...] = Field(min_length=1, max_length=8, description="names of its outputs")
    outputs: Outputs = Field(
        description="`floating` (a bridge, most class D) means that neither terminal may touch an earthed probe"
    )
    supply: SupplyRating
    remote_turn_on: TurnOn | None = Field(
        default=None,
        description="the thin lead that wakes it; leave it out if the amplifier plays as soon as it has supply",
    )
    minimum_load_ohm: PositiveOhms = Field(description="lowest load per channel; a lower load is never connected")
    gain_ratio: Annotated[Ratio, bounded("dB", above=0.1, below=10_000)] = Field(
        alias="gain", description="nominal voltage gain with the controls as tested, such as `30 dB`"
    )
    rated: tuple[Rating, ...] = Field(min_length=1, description="the rating plate, one entry for each load")
    bridged: tuple[BridgedRating, ...] = Field(
        default=(), description="pairs of outputs that may be bridged, with what the plate says of each"
    )
    rails: Literal["unregulated", "regulated"] | None = Field(
        default=None,
        description="`unregulated` rails follow the supply, and power goes with its square; `regulated` rails"
        " are held. If left out, preflight assumes the worse case for load, fuse and supply",
    )
    filters: tuple[CrossoverFilter, ...] = Field(
        default=(),
        description="crossover filters that are switched in; preflight refuses what lies far outside the band that "
        "they leave",
    )
    idle_current_a: PositiveAmperes | None = Field(default=None, description="idle current that the maker expects")
    least_idle_current_a: Annotated[Amperes, bounded("A", at_least=0)] | None = Field(
        default=None,
        description="lowest idle current of an amplifier that is awake; below it the run ends. If left out, a"
        " tenth of `idle_current`. Give 0 A if the amplifier rightly draws almost nothing until "
        "it plays",
    )
    heatsink: HeatsinkRating
    unwatched: tuple[Unwatched, ...] = Field(
        default=(),
        description="what cannot be watched of this amplifier on any bench, such as the `heatsink` of a sealed one, "
        "or an `output B` that is not to be measured; a sensor or a probe that is there is then not used",
    )
    load_change: Literal["silent", "supply off"] = Field(
        default="silent",
        description="how loads are connected by hand: `silent`, without a signal, or with the `supply off`",
    )
    simulation: AmplifierSimulation | None = Field(
        default=None, description="physics for a dry run; only the simulator reads it"
    )
    fitted: AmplifierFitted | None = Field(
        default=None,
        description="what a run of this unit has told, as `benchctl fit --write-to` writes it; preflight reads its "
        "idle current, and a dry run its physics, where `simulation` has no value of its own",
    )

    def _bridged_problems(self) -> Iterator[PathProblem]:
        """Each half sees half of the load across the pair."""
        for index, rating in enumerate(self.bridged):
            at = ("bridged", index)
            for channel in rating.pair:
                if channel not in self.channels:
                    names = ", ".join(self.channels)
                    yield PathProblem((*at, "pair"), f"no channel '{channel}' under 'channels'; there are {names}")
            if len(set(rating.pair)) < 2:
                yield PathProblem((*at, "pair"), "a pair is of two different outputs")
            if rating.minimum_load_ohm < 2.0 * self.minimum_load_ohm * 0.999:
                half, least = render(rating.minimum_load_ohm / 2.0, "ohm"), render(self.minimum_load_ohm, "ohm")
                yield PathProblem(
                    (*at, "minimum_load"), f"each half would see {half}, less than the minimum load of {least}"
                )

    @property
    def physics(self) -> AmplifierSimulation | None:
        """What a dry run is given: the simulation's own values, and where there are none those that were fitted."""
        if self.fitted is None:
            return self.simulation
        return self.fitted.physics(self.simulation, self.supply.nominal_v)

    @property
    def fitted_idle_current_a(self) -> float | None:
        """As it was fitted to this unit; None where it was not."""
        return None if self.fitted is None or self.fitted.idle_current is None else self.fitted.idle_current.value_a

    def rating(self, load_ohm: float) -> Rating | None:
        """The line of the rating plate for a nominal load, if there is one."""
        return next((line for line in self.rated if abs(line.load_ohm - load_ohm) < 1e-3 * load_ohm), None)

    def rated_voltage_v(self, load_ohm: float) -> float:
        """The output voltage of rated power, RMS: of this load's rating, or of the rating whose load is nearest."""
        line = min(self.rated, key=lambda line: abs(math.log(line.load_ohm / load_ohm)))
        return math.sqrt(line.power_w * line.load_ohm)

    def filtered_db(self, channel: str, frequency_hz: float) -> float:
        """What the channel's filters leave of a sine, in dB."""
        own = (each for each in self.filters if each.channels is None or channel in each.channels)
        return sum(each.left_db(frequency_hz) for each in own)

    @property
    def heatsink_k_per_w(self) -> float:
        """From the heatsink to the air: as the file says, or as a maker would have built it."""
        if self.heatsink.resistance_k_per_w is not None:
            return self.heatsink.resistance_k_per_w
        full_w = max(line.power_w for line in self.rated) * len(self.channels)
        worst_w = (HEAT_OF_CLASS_D if self.amplifier_class == "D" else HEAT_OF_LINEAR) * full_w
        return max(self.heatsink.maximum_c - ROOM_C, 10.0) / worst_w

    def problems(self) -> Iterator[PathProblem]:
        slips = tuple(doubled(self.channels, "channels"))
        yield from self._unwatched_problems()
        yield from slips or (*self._filter_problems(), *self._simulation_problems())
        if (self.least_idle_current_a or 0.0) > (self.idle_current_a or math.inf):
            yield PathProblem(
                ("least_idle_current",), "it must not lie above 'idle_current', which is what it should draw"
            )
        seen: set[float] = set()
        for index, load_ohm in enumerate(line.load_ohm for line in self.rated):
            if load_ohm in seen:
                yield PathProblem(("rated", index, "load"), f"{render(load_ohm, 'ohm')} is rated twice; keep one line")
            seen.add(load_ohm)
            if load_ohm < self.minimum_load_ohm:
                least = render(self.minimum_load_ohm, "ohm")
                yield PathProblem(
                    ("rated", index, "load"), f"{render(load_ohm, 'ohm')} is below the minimum load of {least}"
                )

    def _filter_problems(self) -> Iterator[PathProblem]:
        for index, each in enumerate(self.filters):
            for position, channel in enumerate(each.channels or ()):
                if channel not in self.channels:
                    names = ", ".join(self.channels)
                    yield PathProblem(
                        ("filters", index, "channels", position),
                        f"no channel '{channel}' under 'channels'; there are {names}",
                    )

    def _unwatched_problems(self) -> Iterator[PathProblem]:
        yield from doubled(self.unwatched, "unwatched")
        for index, what in enumerate(self.unwatched):
            if (output_of(what) or self.channels[0]) not in self.channels:
                names = ", ".join(self.channels)
                yield PathProblem(("unwatched", index), f"there is no such output under 'channels'; there are {names}")

    def _simulation_problems(self) -> Iterator[PathProblem]:
        """Channels that the simulation names must be there, and only class D switches."""
        yield from self._bridged_problems()
        if self.simulation is None:
            return
        for path, channel in self.simulation.channels():
            if channel not in self.channels:
                names = ", ".join(self.channels)
                yield PathProblem(("simulation", *path), f"no channel '{channel}' under 'channels'; there are {names}")
        imperfections = self.simulation.imperfections
        if (
            imperfections is not None
            and imperfections.pumps
            and (self.amplifier_class != "D" or self.outputs == "floating")
        ):
            path = ("simulation", "imperfections", "pumps")
            yield PathProblem(path, "only class D with grounded outputs pumps energy into its rails; leave it out")
        if self.amplifier_class == "D":
            return
        for attribute in ("conduction_ohm", "switching_w", "ripple_v", "carrier_hz", "commutation_s"):
            if getattr(self.simulation, attribute) is not None:
                yield PathProblem(
                    ("simulation", key_of(attribute)), f"only class D has this; class is {self.amplifier_class}"
                )
