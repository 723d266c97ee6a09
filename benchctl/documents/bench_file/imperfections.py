"""`simulation: imperfections:` of a bench file: what is not ideal about a simulated workshop.

Everything is off unless it is given, so a bench without this section is as clean as its instruments' accuracies allow.
"""

from __future__ import annotations

from pydantic import Field

from benchctl.documents.bench_file.supply_imperfections import SupplyImperfections
from benchctl.documents.model.model_base import Part


class GeneratorImperfections(Part):
    """What the generator adds to its tone."""


class OscilloscopeImperfections(Part):
    """What the oscilloscope and its probes do to a signal."""


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
