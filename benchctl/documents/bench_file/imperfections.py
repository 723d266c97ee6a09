"""`simulation: imperfections:` of a bench file: what is not ideal about a simulated workshop.

Everything is off unless it is given, so a bench without this section is as clean as its instruments' accuracies allow.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from benchctl.documents.bench_file.supply_imperfections import SupplyImperfections
from benchctl.documents.model.fields import NotNegativeNumber, NotNegativeVolts, PositiveHertz, Ratio, bounded
from benchctl.documents.model.model_base import Part

Share = Annotated[Ratio, bounded("1", at_least=0, below=1)]


class GeneratorImperfections(Part):
    """What the generator adds to its tone."""


class OscilloscopeImperfections(Part):
    """What the oscilloscope and its probes do to a signal."""

    noise_floor_v: NotNegativeVolts = Field(
        default=0.0,
        description="noise of each input at its full bandwidth, RMS at the input, that is the same on every range",
        examples=["0.2 mV"],
    )
    noise_of_range: Share = Field(
        default=0.0,
        description="noise of each input at its full bandwidth, RMS, as a part of the range; it adds to the floor in "
        "squares",
        examples=["0.1 %"],
    )
    converter_noise: NotNegativeNumber = Field(
        default=0.4,
        description="noise of the converter itself, RMS, in its steps; with less than about a third, a flat top stays "
        "on one step",
    )
    bandwidth_hz: PositiveHertz = Field(default=100e6, description="full bandwidth of the inputs")
    bandwidth_limit_hz: PositiveHertz | None = Field(
        default=None,
        description="bandwidth that the inputs' limit is switched to; their own noise falls with its root. If left "
        "out, it is off",
        examples=["20 MHz"],
    )


class MainsImperfections(Part):
    """What the mains of the workshop leaves in the signals."""


class Imperfections(Part):
    """What is not ideal about the workshop, by where it comes from."""

    generator: GeneratorImperfections = Field(
        default_factory=GeneratorImperfections, description="what the generator adds to its tone"
    )
    oscilloscope: OscilloscopeImperfections = Field(
        default_factory=OscilloscopeImperfections, description="what the oscilloscope and its probes do to a signal"
    )
    mains: MainsImperfections = Field(
        default_factory=MainsImperfections, description="what the mains of the workshop leaves in the signals"
    )
    supply: SupplyImperfections = Field(
        default_factory=SupplyImperfections, description="what is not ideal about the supply and its leads"
    )
