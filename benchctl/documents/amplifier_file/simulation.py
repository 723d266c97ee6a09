"""The `simulation:` section of an amplifier file: its physics.

Only the simulator reads it, so no run can see the truth that it measures. Everything is optional: what is left out is
derived from the ratings, so that any amplifier can be dry-run before going live.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.amplifier_file.faults import AmplifierFaults
from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.documents.amplifier_file.imperfections import AmplifierImperfections
from benchctl.documents.model.fields import (
    Celsius,
    Gain,
    NotNegativeAmperes,
    NotNegativeOhms,
    NotNegativeSeconds,
    NotNegativeVolts,
    NotNegativeWatts,
    PerKelvin,
    PositiveAmperes,
    PositiveFarads,
    PositiveHertz,
    PositiveJoulesPerKelvin,
    PositiveKelvinsPerWatt,
    PositiveOhms,
    PositiveVolts,
    Ratio,
    Seconds,
    Volts,
    bounded,
)
from benchctl.documents.model.model_base import Part, PathProblem


class HeatsinkSimulation(Part):
    """Two thermal constants: devices to heatsink, heatsink to the air."""

    junction_k_per_w: PositiveKelvinsPerWatt = Field(description="thermal resistance from the devices to the heatsink")
    junction_capacity_j_per_k: PositiveJoulesPerKelvin = Field(description="thermal capacity of the devices")
    ambient_k_per_w: PositiveKelvinsPerWatt = Field(description="thermal resistance from the heatsink to the air")
    capacity_j_per_k: PositiveJoulesPerKelvin = Field(description="thermal capacity of the heatsink")


class ProtectionSimulation(Part):
    """What makes the amplifier fall silent, or play more softly, to save itself."""

    temperature_c: Celsius = Field(default=95.0, description="heatsink temperature at which it mutes")
    restart_c: Celsius = Field(default=75.0, description="heatsink temperature at which it plays again")
    fold_back_c: Celsius | None = Field(
        default=None, description="heatsink temperature from which its gain falls, evenly, until it mutes"
    )
    fold_back_to: Annotated[Ratio, bounded("1", above=0, at_most=1)] = Field(
        default=0.5, description="what is left of the gain just before it mutes, such as `-6 dB`"
    )
    low_voltage_v: NotNegativeVolts = Field(default=9.5, description="terminal voltage below which it shuts down")
    output_current_a: PositiveAmperes | None = Field(
        default=None,
        description="peak output current at which it mutes for a while; if left out, it follows from the ratings",
    )
    retry_s: NotNegativeSeconds = Field(
        default=2.0, description="how long it stays muted after too much output current or rail voltage"
    )
    output_dc_v: PositiveVolts = Field(
        default=3.0, description="mean output voltage at which it mutes until it is woken again"
    )

    rail_v: PositiveVolts | None = Field(
        default=None,
        description="voltage of either rail at which it mutes, for `retry` and until both rails are 5 % below it; if "
        "left out, it does not",
        examples=["48 V"],
    )

    def problems(self) -> Iterator[PathProblem]:
        """Without hysteresis the protection would chatter."""
        if self.restart_c >= self.temperature_c:
            yield PathProblem(("restart",), "restart must lie below temperature, or the protection would chatter")
        if self.fold_back_c is not None and self.fold_back_c >= self.temperature_c:
            yield PathProblem(("fold_back",), "fold_back must lie below temperature, at which the amplifier mutes")


class AmplifierSimulation(Part):
    """Physical parameters of one amplifier; what is left out is derived from the rating plate."""

    gain: Gain | None = Field(default=None, description="voltage gain, unclipped")
    rail_v: PositiveVolts | None = Field(
        default=None, description="voltage of each rail, unloaded, at the nominal supply"
    )
    rail_stiffness_ohm: PositiveOhms | None = Field(
        default=None, description="source resistance of the rails, taken as one; each of the two has twice as much"
    )
    reservoir_f: PositiveFarads | None = Field(
        default=None, description="capacitance of the rails, taken as one; each of the two has half"
    )
    reservoir_esr_ohm: NotNegativeOhms | None = Field(
        default=None, description="series resistance of the reservoir, of the rails taken as one; if left out, none"
    )
    saturation_v: NotNegativeVolts | None = Field(
        default=None, description="voltage that the output stage needs between rail and output"
    )
    output_resistance_ohm: NotNegativeOhms | None = Field(default=None, description="resistance of each output")
    converter_efficiency: Annotated[Ratio, bounded("1", above=0, at_most=1)] | None = Field(
        default=None, description="efficiency of the supply's converter"
    )
    rails: Literal["unregulated", "regulated"] | None = Field(
        default=None, description="unregulated rails follow the supply; regulated ones are held as long as they can be"
    )
    dropout_v: PositiveVolts | None = Field(
        default=None, description="terminal voltage below which regulated rails follow the supply after all"
    )
    bias_current_a: NotNegativeAmperes | None = Field(
        default=None, description="bias current per channel, from rail to rail, at 25 degC"
    )
    bias_drift_per_k: PerKelvin | None = Field(
        default=None, description="how the bias changes with the temperature of the devices"
    )
    soft_knee: Annotated[Ratio, bounded("1", at_least=0, at_most=0.9)] | None = Field(
        default=None, description="part of the swing over which clipping sets in softly; 0 is hard clipping"
    )
    crossover_v: NotNegativeVolts | None = Field(
        default=None, description="dead zone on either side of zero, at the output"
    )
    conduction_ohm: NotNegativeOhms | None = Field(
        default=None, description="class D: resistance in the path of the output current, devices and coil"
    )
    switching_w: NotNegativeWatts | None = Field(
        default=None, description="class D: power lost in switching, per channel, at any level"
    )
    ripple_v: NotNegativeVolts | None = Field(
        default=None, description="class D: what is left of the carrier at the output, RMS"
    )
    carrier_hz: PositiveHertz | None = Field(default=None, description="class D: switching frequency")
    commutation_s: Annotated[Seconds, bounded("s", at_least=0, at_most=1e-6)] | None = Field(
        default=None,
        description="class D: how long voltage and current overlap at each edge of the carrier, which costs power in "
        "proportion to the output current; if left out, 0",
        examples=["10 ns"],
    )
    filters: tuple[CrossoverFilter, ...] | None = Field(
        default=None, description="filters in front of the output stages"
    )
    housekeeping_w: NotNegativeWatts | None = Field(
        default=None, description="power that it always takes, at the nominal supply"
    )
    standby_current_a: NotNegativeAmperes | None = Field(default=None, description="current that it takes while asleep")
    noise_v: NotNegativeVolts | None = Field(
        default=None,
        description="noise at the output, RMS from 20 Hz to 20 kHz; it is white, so a band has as much of it as it is "
        "wide",
    )
    noise_bandwidth_hz: PositiveHertz | None = Field(
        default=None, description="frequency up to which the output has noise, with the same density"
    )
    crosstalk: Annotated[Ratio, bounded("1", at_least=0, below=1)] | None = Field(
        default=None, description="part of a driven input's signal that reaches an undriven one"
    )
    limiter_v: PositiveVolts | None = Field(
        default=None,
        description="RMS output voltage that a limiter holds every output to, by turning the gain down at once; if "
        "left out, there is no limiter",
    )
    offset_v: dict[str, Volts] | None = Field(default=None, description="dc at each output")
    imperfections: AmplifierImperfections | None = Field(
        default=None, description="what it does to a signal beside amplifying and clipping it; if left out, nothing"
    )
    heatsink: HeatsinkSimulation | None = None
    protection: ProtectionSimulation | None = None
    turn_on_delay_s: NotNegativeSeconds | None = Field(default=None, description="how long it stays muted after waking")
    soft_start_s: NotNegativeSeconds | None = Field(
        default=None,
        description="how long the converter takes to ramp up; 0 s: only supply, leads and the rails' source resistance "
        "limit the inrush into the reservoir",
    )
    faults: AmplifierFaults | None = Field(default=None, description="what is wrong with it")

    def bridged(self, pair: tuple[str, ...], name: str, channels: int) -> AmplifierSimulation:
        """The same amplifier with two of its so many channels bridged: both halves in series, and the bias of all.

        Faults of one half and filters of one channel are left out, for the pair is simulated as two like halves.
        """
        twice = ("gain", "output_resistance_ohm", "crossover_v", "conduction_ohm", "ripple_v", "limiter_v")
        doubled = {key: 2.0 * value for key in twice if (value := getattr(self, key)) is not None}
        of_all = ("bias_current_a", "switching_w")
        summed = {key: channels * value for key in of_all if (value := getattr(self, key)) is not None}
        first, second = ((self.offset_v or {}).get(channel, 0.0) for channel in pair)
        noise_v = None if self.noise_v is None else math.sqrt(2.0) * self.noise_v
        filters = tuple(each for each in self.filters or () if each.channels is None) or None
        others = {"offset_v": {name: first - second}, "noise_v": noise_v, "filters": filters, "faults": None}
        imperfections = None if self.imperfections is None else self.imperfections.bridged()
        return self.model_copy(update={**doubled, **summed, **others, "imperfections": imperfections})

    def channels(self) -> Iterator[tuple[tuple[str | int, ...], str]]:
        """Every channel that is named, and where."""
        for channel in self.offset_v or ():
            yield ("offset", channel), channel
        for index, each in enumerate(self.filters or ()):
            for position, channel in enumerate(each.channels or ()):
                yield ("filters", index, "channels", position), channel
        for path, channel in self.imperfections.channels() if self.imperfections else ():
            yield ("imperfections", *path), channel
        for path, channel in self.faults.channels() if self.faults else ():
            yield ("faults", *path), channel

    def problems(self) -> Iterator[PathProblem]:
        """Two like filters in a row are no Butterworth filter any more."""
        filters = self.filters or ()
        for index, each in enumerate(filters):
            if any(each.doubles(earlier) for earlier in filters[:index]):
                yield PathProblem(("filters", index), "an earlier filter has the same corner and slope")
