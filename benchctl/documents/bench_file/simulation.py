"""The `simulation:` section of a bench file: what is true of a simulated bench, and what goes wrong on it.

Only the simulator reads it, so no run can see the truth that it measures. Everything is optional.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.bench_file.faults import BenchFault
from benchctl.documents.bench_file.simulated_instruments import InstrumentSimulations
from benchctl.documents.model.fields import (
    Celsius,
    NotNegativeOhms,
    NotNegativeSeconds,
    PositiveAmperes,
    PositiveFarads,
    Ratio,
    VoltsPerSecond,
    Whole,
    bounded,
)
from benchctl.documents.model.model_base import Part

Slew = Annotated[VoltsPerSecond, bounded("V/s", above=0, at_most=1e6)]


class SupplySlew(Part):
    """How fast an output of the supply comes to its voltage, and lets go of it."""

    rise_v_per_s: Slew = Field(default=100.0, description="how fast the voltage rises")
    fall_v_per_s: Slew = Field(default=100.0, description="how fast the voltage falls at most, whatever the load")
    capacitance_f: PositiveFarads = Field(
        default=0.002, description="capacitance across each output, which a light load empties slowly"
    )
    bleed_a: PositiveAmperes = Field(default=0.05, description="current that empties it where nothing is connected")


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
    supply_slew: SupplySlew = Field(default_factory=SupplySlew, description="how fast the supply's outputs follow")
    supply_lead_ohm: NotNegativeOhms = Field(
        default=0.0015, description="resistance of both leads from supply to amplifier together"
    )
    instruments: InstrumentSimulations = Field(
        default_factory=InstrumentSimulations,
        description="which form of remote control each simulated instrument speaks, and its vices",
    )
    faults: tuple[BenchFault, ...] = Field(default=(), description="what goes wrong on this bench, and when")
