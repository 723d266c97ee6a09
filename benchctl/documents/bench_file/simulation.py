"""The `simulation:` section of a bench file: what is true of a simulated bench, and what goes wrong on it.

Only the simulator reads it, so no run can see the truth that it measures. Everything is optional.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.bench_file.faults import BenchFault
from benchctl.documents.bench_file.imperfections import Imperfections
from benchctl.documents.bench_file.simulated_instruments import InstrumentSimulations
from benchctl.documents.model.fields import (
    Celsius,
    ChannelName,
    NotNegativeOhms,
    NotNegativeSeconds,
    NotNegativeVolts,
    PointName,
    PositiveAmperes,
    PositiveFarads,
    PositiveOhms,
    Ratio,
    Volts,
    VoltsPerSecond,
    Whole,
    bounded,
)
from benchctl.documents.model.model_base import Part, PathProblem

Slew = Annotated[VoltsPerSecond, bounded("V/s", above=0, at_most=1e6)]


class SupplySlew(Part):
    """How fast an output of the supply comes to its voltage, and lets go of it."""

    rise_v_per_s: Slew = Field(default=100.0, description="how fast the voltage rises")
    fall_v_per_s: Slew = Field(default=100.0, description="how fast the voltage falls at most, whatever the load")
    capacitance_f: PositiveFarads = Field(
        default=0.002, description="capacitance across each output, which a light load empties slowly"
    )
    bleed_a: PositiveAmperes = Field(default=0.05, description="current that empties it where nothing is connected")


class PointSimulation(Part):
    """What a point truly has, at which a multimeter measures. Give one of them."""

    bias_of: ChannelName | None = Field(
        default=None, description="the bias current of this channel, through the emitter resistor `across`"
    )
    across_ohm: PositiveOhms | None = Field(default=None, description="the emitter resistor of `bias_of`")
    rail: Literal["plus", "minus"] | None = Field(default=None, description="one of the amplifier's rails")
    supply: Literal["terminals"] | None = Field(default=None, description="the amplifier's supply terminals")
    dc_v: Volts | None = Field(default=None, description="a dc voltage that nothing changes")
    ac_v: NotNegativeVolts | None = Field(
        default=None, description="an ac voltage, RMS, that nothing changes, such as the mains"
    )
    resistance_ohm: PositiveOhms | None = Field(default=None, description="a resistance")
    output: ChannelName | None = Field(
        default=None,
        description="the amplifier's terminals of this output without the amplifier: the resistance of the loads that "
        "are connected there",
    )
    sensor: Literal["heatsink", "ambient", "load"] | None = Field(
        default=None, description="a thermocouple on the heatsink, in the air or on the load resistors"
    )

    def problems(self) -> Iterator[PathProblem]:
        quantities = (self.dc_v, self.ac_v, self.resistance_ohm)
        kinds = (self.bias_of, self.rail, self.supply, self.output, self.sensor, *quantities)
        if sum(kind is not None for kind in kinds) != 1:
            yield PathProblem((), "give one of bias_of, rail, supply, dc, ac, resistance, output, sensor")
        if (self.bias_of is None) is not (self.across_ohm is None):
            yield PathProblem((), "'bias_of' and 'across', the emitter resistor, belong together")


class BenchSimulation(Part):
    """What is true of a simulated bench though nobody on it knows."""

    seed: Whole = Field(
        default=1,
        description="number from which the true errors of all instruments, and every chance, are drawn",
        examples=[2150],
    )
    instrument_errors: Literal["drawn", "none"] = Field(
        default="drawn", description="drawn: inside each stated accuracy; none: every instrument is exact"
    )
    errors: dict[str, Ratio] = Field(
        default_factory=dict, description="true relative errors that are not drawn, such as `probe A: 0.3 %`"
    )
    ambient_c: Celsius = Field(default=23.0, description="temperature of the air in the workshop")
    sensor_lag_s: NotNegativeSeconds = Field(
        default=1.0, description="time constant with which a temperature sensor follows what it is fixed to"
    )
    relay_bounce_s: NotNegativeSeconds = Field(
        default=0.003,
        description="how long the contact of a load relay bounces at most when it closes",
    )
    relay_delay_s: NotNegativeSeconds = Field(
        default=0.0, description="how long after its command the contact of a load relay first moves"
    )
    supply_slew: SupplySlew = Field(default_factory=SupplySlew, description="how fast the supply's outputs follow")
    supply_lead_ohm: NotNegativeOhms = Field(
        default=0.0015, description="resistance of both leads from supply to amplifier together"
    )
    instruments: InstrumentSimulations = Field(
        default_factory=InstrumentSimulations,
        description="which form of remote control each simulated instrument speaks, and its vices",
    )
    points: dict[PointName, PointSimulation] = Field(
        default_factory=dict,
        description="what is at the multimeter's points; at one that is not named here its leads are open",
    )
    imperfections: Imperfections = Field(
        default_factory=Imperfections,
        description="what is not ideal about the workshop: hum, noise, distortion of the generator and so on; "
        "everything is off unless it is given",
    )
    faults: tuple[BenchFault, ...] = Field(default=(), description="what goes wrong on this bench, and when")
