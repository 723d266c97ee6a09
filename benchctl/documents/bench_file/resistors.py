"""Load resistors, behind relays or connected by hand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Annotated, TypeVar

from pydantic import Field

from benchctl.documents.model.fields import (
    ChannelName,
    PerKelvin,
    PositiveOhms,
    PositiveWatts,
    RelayNumber,
    Tolerance,
    bounded,
)
from benchctl.documents.model.model_base import Part, PathProblem
from benchctl.documents.model.origin import ResistorBefore, ResistorOrigin
from benchctl.quantity import render


class LoadResistor(Part):
    """One load resistor, for one amplifier output."""

    nominal_ohm: PositiveOhms = Field(description="the value that sequences call it by")
    channel: ChannelName = Field(description="the amplifier output that it is wired to")
    measured_ohm: PositiveOhms = Field(
        description="resistance measured at 20 degC, at the amplifier's terminals, leads included"
    )
    uncertainty: Annotated[Tolerance, bounded("1", above=0)] = Field(
        description="relative uncertainty of the measured value, k = 2"
    )
    temperature_coefficient_per_k: PerKelvin = Field(
        description="how its resistance changes with temperature, such as `60 ppm/K`"
    )
    temperature_coefficient_uncertainty_per_k: Annotated[PerKelvin, bounded("1/K", at_least=0)] | None = Field(
        default=None, description="uncertainty of that, k = 2; if left out, it counts as exact", examples=["10 ppm/K"]
    )
    rated_power_w: PositiveWatts = Field(description="power that it bears continuously, mounted as it is")
    origin: ResistorOrigin | None = Field(
        default=None, description="where the measured values come from; written by the program from `calibration`"
    )

    @property
    def name(self) -> str:
        """As sentences call it."""
        return f"the {render(self.nominal_ohm, 'ohm')} resistor of output {self.channel}"

    @property
    def as_stated(self) -> ResistorBefore:
        """What the bench file itself says, without a calibration file."""
        if self.origin is not None:
            return self.origin.before
        return ResistorBefore(
            measured_ohm=self.measured_ohm,
            uncertainty=self.uncertainty,
            temperature_coefficient_per_k=self.temperature_coefficient_per_k,
            temperature_coefficient_uncertainty_per_k=self.temperature_coefficient_uncertainty_per_k,
        )

    def problems(self) -> Iterator[PathProblem]:
        if not 0.8 < self.measured_ohm / self.nominal_ohm < 1.25:
            measured, nominal = render(self.measured_ohm, "ohm"), render(self.nominal_ohm, "ohm")
            yield PathProblem(
                ("measured",), f"{measured} is not a {nominal} resistor; look for a typing error in either"
            )


class Resistor(LoadResistor):
    """One load resistor behind one relay, wired to one amplifier output."""

    relay: RelayNumber = Field(description="number of the relay that connects it")


_R = TypeVar("_R", bound=LoadResistor)


def resistors_for(resistors: Iterable[_R], nominal_ohm: float) -> Mapping[str, _R]:
    """Amplifier channel -> its resistor of that nominal value; empty where there is none."""
    return {r.channel: r for r in resistors if abs(r.nominal_ohm - nominal_ohm) < 1e-3 * nominal_ohm}


def doubled_resistors(resistors: Iterable[LoadResistor]) -> Iterator[PathProblem]:
    """A problem for each resistor of a value that its channel has already."""
    positions: set[tuple[str, float]] = set()
    for index, resistor in enumerate(resistors):
        if (resistor.channel, resistor.nominal_ohm) in positions:
            nominal = render(resistor.nominal_ohm, "ohm")
            yield PathProblem(
                ("resistors", index, "nominal"), f"channel {resistor.channel} has a {nominal} load already"
            )
        positions.add((resistor.channel, resistor.nominal_ohm))
