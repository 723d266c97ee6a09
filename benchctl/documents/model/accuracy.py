"""Accuracies as data sheets state them: limits of error, part by part."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import Field

from benchctl.documents.model.fields import Amperes, Hertz, Kelvins, Ohms, Tolerance, Volts, bounded
from benchctl.documents.model.model_base import Part, PathProblem

_FIXED: Any = Field(default=0.0, description="limit of error that is the same at any reading")


class Accuracy(Part):
    """Limits of error: a part of the reading, a part of the range and a fixed part, added up."""

    reading: Tolerance = Field(default=0.0, description="limit of error as a part of the reading")
    range: Tolerance = Field(default=0.0, description="limit of error as a part of the range in use")
    fixed: float = _FIXED

    def problems(self) -> Iterator[PathProblem]:
        if self.reading == self.range == self.fixed == 0:
            yield PathProblem((), "no instrument is exact; give 'reading', 'range' or 'fixed'")


class VoltageAccuracy(Accuracy):
    """Limits of error of a voltage."""

    fixed: Annotated[Volts, bounded("V", at_least=0)] = _FIXED


class CurrentAccuracy(Accuracy):
    """Limits of error of a current."""

    fixed: Annotated[Amperes, bounded("A", at_least=0)] = _FIXED


class InputVoltageAccuracy(VoltageAccuracy):
    """Limits of error of a voltage at an oscilloscope's input."""

    linearity: Tolerance | None = Field(
        default=None,
        description="how far it may be off a straight line, as a part of the range; counts in ratios of two readings "
        "of one channel, such as a damping factor. Left out, it is one step of the converter, but at least 0.1 % "
        "(common practice)",
    )


_RESOLUTION: Any = Field(
    default=0.0,
    description="step in which it shows its readings; left out, it is seen from the readings, as far as it is no more "
    "than the limit of error",
)


class ReadVoltageAccuracy(VoltageAccuracy):
    """Limits of error of a voltage that an instrument reads back."""

    resolution: Annotated[Volts, bounded("V", at_least=0)] = _RESOLUTION


class ReadCurrentAccuracy(CurrentAccuracy):
    """Limits of error of a current that an instrument reads back."""

    resolution: Annotated[Amperes, bounded("A", at_least=0)] = _RESOLUTION


class FrequencyAccuracy(Accuracy):
    """Limits of error of a frequency."""

    fixed: Annotated[Hertz, bounded("Hz", at_least=0)] = _FIXED


class ResistanceAccuracy(Accuracy):
    """Limits of error of a resistance."""

    fixed: Annotated[Ohms, bounded("ohm", at_least=0)] = _FIXED


class TemperatureAccuracy(Part):
    """Limits of error of a temperature."""

    fixed: Annotated[Kelvins, bounded("K", above=0)] = Field(
        description="limit of error that is the same at any temperature, such as `1 K`"
    )
