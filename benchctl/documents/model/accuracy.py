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
