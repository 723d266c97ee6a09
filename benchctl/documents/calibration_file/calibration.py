"""Calibration files: the values that were measured on a bench, which take the place of those of its bench file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from benchctl.documents.model.fields import (
    ChannelName,
    Date,
    Line,
    PerKelvin,
    PositiveAmperes,
    PositiveNumber,
    PositiveOhms,
    SignalName,
    Tolerance,
    VoltsPerAmpere,
    bounded,
)
from benchctl.documents.model.model_base import Document, Part, PathProblem
from benchctl.quantity import render

_DATE, _HOW = "day on which it was measured", "how it was measured, in your words"
_Uncertainty = Annotated[Tolerance, bounded("1", above=0)]


class CalibratedResistor(Part):
    """One load resistor, found in the bench file by its channel and nominal value."""

    channel: ChannelName = Field(description="the amplifier output that it is wired to")
    nominal_ohm: PositiveOhms = Field(description="its nominal value, as the bench file has it")
    measured_ohm: PositiveOhms = Field(
        description="resistance at 20 degC, measured at the amplifier's terminals, leads included"
    )
    uncertainty: _Uncertainty = Field(description="relative uncertainty of the measured value, k = 2")
    temperature_coefficient_per_k: PerKelvin | None = Field(
        default=None,
        description="how its resistance changes with temperature; left out, that of the bench file stays",
    )
    temperature_coefficient_uncertainty_per_k: Annotated[PerKelvin, bounded("1/K", at_least=0)] | None = Field(
        default=None,
        description="uncertainty of the temperature coefficient, k = 2; left out, that of the bench file stays",
        examples=["5 ppm/K"],
    )
    date: Date = Field(description=_DATE)
    how: Line | None = Field(default=None, description=_HOW, examples=["four-wire by the multimeter"])
    current_a: PositiveAmperes | None = Field(default=None, description="current at which it was measured")

    @property
    def name(self) -> str:
        """As sentences call it."""
        return f"the {render(self.nominal_ohm, 'ohm')} resistor of output {self.channel}"

    def problems(self) -> Iterator[PathProblem]:
        if not 0.8 < self.measured_ohm / self.nominal_ohm < 1.25:
            measured, nominal = render(self.measured_ohm, "ohm"), render(self.nominal_ohm, "ohm")
            yield PathProblem(
                ("measured",), f"{measured} is not a {nominal} resistor; look for a typing error in either"
            )


class CalibratedProbe(Part):
    """One voltage probe, found in the bench file by the signal that it measures."""

    ratio: PositiveNumber = Field(description="volts at the tip for one volt at the oscilloscope")
    accuracy: _Uncertainty = Field(description="accuracy of its ratio")
    date: Date = Field(description=_DATE)
    how: Line | None = Field(default=None, description=_HOW, examples=["against the reference multimeter, dc"])


class CalibratedClamp(Part):
    """The current clamp around the supply lead."""

    sensitivity_v_per_a: Annotated[VoltsPerAmpere, bounded("V/A", above=0)] = Field(
        description="voltage that it gives for a current, such as `10 mV/A`"
    )
    accuracy: _Uncertainty = Field(description="accuracy of its sensitivity")
    date: Date = Field(description=_DATE)
    how: Line | None = Field(default=None, description=_HOW, examples=["against a 10 mohm shunt, dc"])


class CalibratedLeads(Part):
    """Both leads from the supply to the amplifier, with plugs and fuse holder."""

    resistance_ohm: PositiveOhms = Field(description="resistance of both leads together")
    uncertainty: _Uncertainty = Field(
        description="relative uncertainty of the resistance, k = 2; the bench file's `leads` becomes the most that "
        "this allows"
    )
    date: Date = Field(description=_DATE)
    how: Line | None = Field(default=None, description=_HOW, examples=["volts over amperes at 20 A"])

    @property
    def at_most_ohm(self) -> float:
        """The most that they may have."""
        return self.resistance_ohm * (1.0 + self.uncertainty)


class Calibration(Document):
    """A whole calibration file."""

    title: Line = Field(description="what was calibrated")
    due: Date | None = Field(
        default=None, description="date from which these values no longer count; preflight and the page say so"
    )
    resistors: tuple[CalibratedResistor, ...] = Field(default=(), description="load resistors, one entry each")
    probes: dict[SignalName, CalibratedProbe] = Field(
        default_factory=dict,
        description="voltage probes by the signal that they measure: `output A`, `supply voltage`",
    )
    clamp: CalibratedClamp | None = Field(default=None, description="the clamp around the supply lead")
    leads: CalibratedLeads | None = Field(
        default=None, description="the leads from the supply's output `main` to the amplifier"
    )

    def problems(self) -> Iterator[PathProblem]:
        if not (self.resistors or self.probes or self.clamp or self.leads):
            yield PathProblem((), "a calibration without values; give resistors, probes, clamp or leads")
        seen: set[tuple[str, float]] = set()
        for index, resistor in enumerate(self.resistors):
            if (resistor.channel, resistor.nominal_ohm) in seen:
                yield PathProblem(("resistors", index, "nominal"), f"{resistor.name} is in the list twice")
            seen.add((resistor.channel, resistor.nominal_ohm))
