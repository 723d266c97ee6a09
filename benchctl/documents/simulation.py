"""The `simulation:` sections: an amplifier's physics and a bench's true errors.

Only the simulator reads them, so no run can peep at the truth it measures. Everything is optional: what is left out
is derived from the ratings, so that any bench and any amplifier can be dry-run before going live.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from benchctl.documents.faults import BenchFault
from benchctl.documents.fields import (
    Amperes,
    Celsius,
    Farads,
    Gain,
    JoulesPerKelvin,
    KelvinsPerWatt,
    Ohms,
    Ratio,
    Seconds,
    Volts,
    Watts,
    Whole,
)
from benchctl.documents.part import Misfit, Part


class HeatsinkSimulation(Part):
    """Two thermal constants: devices to heatsink, heatsink to the air."""

    junction_k_per_w: KelvinsPerWatt = Field(gt=0, description="thermal resistance from the devices to the heatsink")
    junction_capacity_j_per_k: JoulesPerKelvin = Field(gt=0, description="thermal capacity of the devices")
    ambient_k_per_w: KelvinsPerWatt = Field(gt=0, description="thermal resistance from the heatsink to the air")
    capacity_j_per_k: JoulesPerKelvin = Field(gt=0, description="thermal capacity of the heatsink")


class ProtectionSimulation(Part):
    """What makes the amplifier fall silent to save itself."""

    temperature_c: Celsius = Field(default=95.0, description="heatsink temperature at which it mutes")
    restart_c: Celsius = Field(default=75.0, description="heatsink temperature at which it plays again")
    low_voltage_v: Volts = Field(default=9.5, ge=0, description="terminal voltage below which it shuts down")

    def misfits(self) -> Iterator[Misfit]:
        """Without hysteresis the protection would chatter."""
        if self.restart_c >= self.temperature_c:
            yield Misfit(("restart",), "restart must lie below temperature, or the protection would chatter")


class AmplifierSimulation(Part):
    """Physical parameters of one amplifier; what is left out is derived from the rating plate."""

    gain: Gain | None = Field(default=None, description="from the input to the output, unclipped")
    rail_v: Volts | None = Field(default=None, gt=0, description="each rail, unloaded, at the nominal supply")
    rail_stiffness_ohm: Ohms | None = Field(default=None, gt=0, description="source resistance of the lumped rails")
    reservoir_f: Farads | None = Field(default=None, gt=0, description="capacitance of the lumped rails")
    saturation_v: Volts | None = Field(default=None, ge=0, description="what the output stage leaves of the rail")
    output_resistance_ohm: Ohms | None = Field(default=None, ge=0)
    converter_efficiency: Ratio | None = Field(default=None, gt=0, le=1)
    bias_current_a: Amperes | None = Field(default=None, ge=0, description="per channel, from rail to rail")
    housekeeping_w: Watts | None = Field(default=None, ge=0, description="taken always, at the nominal supply")
    standby_current_a: Amperes | None = Field(default=None, ge=0, description="taken while asleep")
    noise_v: Volts | None = Field(default=None, ge=0, description="at the output, RMS")
    offset_v: dict[str, Volts] | None = Field(default=None, description="dc at each output")
    heatsink: HeatsinkSimulation | None = None
    protection: ProtectionSimulation | None = None
    turn_on_delay_s: Seconds | None = Field(default=None, ge=0, description="muted for so long after waking")
    soft_start_s: Seconds | None = Field(default=None, ge=0, description="the converter ramps up for so long")


class BenchSimulation(Part):
    """What is true of a simulated bench though nobody on it knows."""

    seed: Whole = Field(default=1, description="every instrument's true error is drawn from it")
    instrument_errors: Literal["drawn", "none"] = Field(
        default="drawn", description="drawn: inside each stated accuracy; none: every instrument is exact"
    )
    errors: dict[str, Ratio] = Field(
        default_factory=dict, description="true relative errors that are not drawn, such as `probe A: 0.3 %`"
    )
    ambient_c: Celsius = Field(default=23.0, description="the air of the workshop")
    supply_lead_ohm: Ohms = Field(default=0.0015, ge=0, description="both leads from supply to amplifier together")
    faults: tuple[BenchFault, ...] = Field(default=(), description="what goes wrong on this bench, and when")
