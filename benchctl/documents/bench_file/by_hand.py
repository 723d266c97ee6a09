"""What a person does on a bench when asked: connect load resistors, move a probe."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from pydantic import Field

from benchctl.documents.bench_file.resistors import LoadResistor, doubled_resistors, resistors_for
from benchctl.documents.model.fields import PositiveOhms
from benchctl.documents.model.model_base import Part, PathProblem
from benchctl.quantity import render


class LoadsByHand(Part):
    """A person connects load resistors when asked; no instrument is there that does it."""

    by: Literal["hand"] = Field(description="a person connects them when asked, and takes them off")
    resistors: tuple[LoadResistor, ...] = Field(min_length=1, description="one entry for each resistor")
    connected_ohm: PositiveOhms | None = Field(
        default=None,
        description="the nominal value of the resistors that are connected when a run begins; an unattended run can "
        "use these and no others. If left out, the first thing that a person is asked for is to take all loads off",
    )

    @property
    def kind(self) -> Literal["by hand"]:
        """The form of load."""
        return "by hand"

    def resistors_for(self, nominal_ohm: float) -> Mapping[str, LoadResistor]:
        """Amplifier channel -> its resistor of that nominal value; empty where there is none."""
        return resistors_for(self.resistors, nominal_ohm)

    def problems(self) -> Iterator[PathProblem]:
        yield from doubled_resistors(self.resistors)
        if self.connected_ohm is not None and not self.resistors_for(self.connected_ohm):
            values = sorted({each.nominal_ohm for each in self.resistors})
            there_are = " and ".join(render(value, "ohm") for value in values)
            yield PathProblem(
                ("connected",), f"no resistor has {render(self.connected_ohm, 'ohm')}; there are {there_are}"
            )


class ProbesByHand(Part):
    """A person moves a probe between the outputs that share an oscilloscope channel."""

    by: Literal["hand"] = Field(
        description="a person moves the probe between the outputs that share an oscilloscope channel, when asked"
    )
