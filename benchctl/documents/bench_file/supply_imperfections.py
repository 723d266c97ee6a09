"""`simulation: imperfections: supply:` of a bench file: what is not ideal about the supply and its leads."""

from __future__ import annotations

from pydantic import Field

from benchctl.documents.model.fields import (
    NotNegativeAmperes,
    NotNegativeOhms,
    NotNegativeVolts,
    PositiveHertz,
    PositiveKelvinsPerWatt,
    PositiveOhms,
    PositiveSeconds,
    PositiveVolts,
)
from benchctl.documents.model.model_base import Part


class Recovery(Part):
    """The voltage falls further when the load rises suddenly, and comes back; when the load falls, the other way."""

    dip_ohm: PositiveOhms = Field(description="how far it falls at once for each ampere more")
    time_constant_s: PositiveSeconds = Field(default=0.001, description="time constant with which it comes back")


class WarmLeads(Part):
    """The leads from supply to amplifier warm with their loss, and their copper resistance rises (0.00393/K)."""

    rise_k_per_w: PositiveKelvinsPerWatt = Field(description="rise of their temperature for each watt lost in them")
    time_constant_s: PositiveSeconds = Field(default=120.0, description="time constant of their temperature")


class Whine(Part):
    """A tone on the output, as of a charger or a switching supply; it also gets into the amplifier's outputs."""

    frequency_hz: PositiveHertz = Field(description="its frequency")
    level_v: PositiveVolts = Field(description="its level at the amplifier's terminals, RMS")


class SupplyImperfections(Part):
    """What is not ideal about the supply and its leads."""

    output_resistance_ohm: NotNegativeOhms = Field(
        default=0.0,
        description="resistance of the main output: how far its voltage falls for each ampere, without the leads",
        examples=["2 mohm"],
    )
    recovery: Recovery | None = Field(
        default=None, description="how far the voltage falls at a step of the load, and how soon it is back"
    )
    warm_leads: WarmLeads | None = Field(
        default=None,
        description="how the leads warm; if left out, they keep the `supply_lead` that is stated for 20 degC",
    )
    open_sense_v: PositiveVolts | None = Field(
        default=None,
        description="the sense leads are open: with remote sense on, the main output rises by this much above its "
        "setting, because the supply sees a voltage that is too low; if left out, they are connected",
        examples=["1 V"],
    )
    whine: Whine | None = Field(default=None, description="a tone on the main output")
    voltage_step_v: NotNegativeVolts = Field(
        default=0.0, description="step in which it shows its voltage; 0 V: as fine as its numbers", examples=["0.1 V"]
    )
    current_step_a: NotNegativeAmperes = Field(
        default=0.0, description="step in which it shows its current; 0 A: as fine as its numbers", examples=["0.1 A"]
    )
