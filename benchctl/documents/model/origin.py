"""Where a value of a bench file comes from that a calibration file has put in its place."""

from __future__ import annotations

import datetime

from pydantic import Field

from benchctl.documents.model.fields import (
    Date,
    Line,
    PerKelvin,
    PositiveAmperes,
    PositiveNumber,
    PositiveOhms,
    Tolerance,
    VoltsPerAmpere,
)
from benchctl.documents.model.model_base import Part


class ResistorBefore(Part):
    """What the bench file itself says of a resistor."""

    measured_ohm: PositiveOhms = Field(description="resistance at 20 degC")
    uncertainty: Tolerance = Field(description="relative uncertainty, k = 2")
    temperature_coefficient_per_k: PerKelvin = Field(description="how its resistance changes with temperature")
    temperature_coefficient_uncertainty_per_k: PerKelvin | None = Field(
        default=None, description="uncertainty of that, k = 2"
    )


class ProbeBefore(Part):
    """What the bench file itself says of a probe."""

    ratio: PositiveNumber = Field(description="volts at the tip for one volt at the oscilloscope")
    accuracy: Tolerance = Field(description="accuracy of its ratio")


class ClampBefore(Part):
    """What the bench file itself says of the clamp."""

    sensitivity_v_per_a: VoltsPerAmpere = Field(description="voltage that it gives for a current")
    accuracy: Tolerance = Field(description="accuracy of its sensitivity")


class Origin(Part):
    """Where a value comes from. The program writes this when it joins bench file and calibration file."""

    file: Line = Field(description="name of the calibration file")
    date: Date = Field(description="day on which it was measured")
    due: Date | None = Field(default=None, description="date from which it no longer counts")
    how: Line | None = Field(default=None, description="how it was measured")

    def is_overdue(self, today: datetime.date) -> bool:
        """Whether the value no longer counts on a day."""
        return self.due is not None and today >= self.due

    def __str__(self) -> str:
        return f"{self.file}, {self.date}" + (f", {self.how}" if self.how else "")


class ResistorOrigin(Origin):
    """Where the values of a resistor come from."""

    current_a: PositiveAmperes | None = Field(default=None, description="current at which it was measured")
    before: ResistorBefore = Field(description="what the bench file itself says")


class ProbeOrigin(Origin):
    """Where the values of a probe come from."""

    before: ProbeBefore = Field(description="what the bench file itself says")


class ClampOrigin(Origin):
    """Where the values of the clamp come from."""

    before: ClampBefore = Field(description="what the bench file itself says")
