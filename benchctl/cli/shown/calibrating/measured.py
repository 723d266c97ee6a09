"""One value that was measured: what the file says of it, and how it differs from the one before."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Self

from uncertainties import UFloat

from benchctl.documents.bench_file.resistors import LoadResistor
from benchctl.measure.budget.contributions import contributions
from benchctl.measure.calibration import Stated
from benchctl.measure.uncertainty import COVERAGE_FACTOR
from benchctl.quantity import render

Section = Literal["resistors", "probes", "clamp", "leads"]


@dataclass(frozen=True)
class Before:
    """What the bench file says now; None: nothing."""

    value: float
    uncertainty: float


@dataclass(frozen=True)
class Measured:
    """A value, as its section of the calibration file has it.

    Attributes:
        section: of the file.
        key: the signal of a probe; '' elsewhere.
        name: as the table has it.
        unit: of the value.
        before: what the bench file says.
        found: what was measured.
        entry: the keys of the file.
        causes: of its uncertainty, the largest first.
    """

    section: Section
    key: str
    name: str
    unit: str
    before: Before | None
    found: Stated
    entry: Mapping[str, str]
    causes: tuple[str, ...]

    @classmethod
    def of_resistor(  # noqa: PLR0917 - the parts of one line
        cls,
        resistor: LoadResistor,
        found: Stated,
        value: UFloat,
        coefficient: UFloat | None,
        current_a: float,
        how: str,
        today: datetime.date,
    ) -> Self:
        """Of a load resistor."""
        entry = {
            "channel": resistor.channel,
            "nominal": render(resistor.nominal_ohm, "ohm"),
            "measured": f"{found.value:.6g} ohm",
            "uncertainty": rendered_ratio(found.relative_uncertainty),
            "date": str(today),
            "how": how,
            "current": render(current_a, "A"),
        }
        if coefficient is not None:
            entry["temperature_coefficient"] = f"{1e6 * float(coefficient.nominal_value):.3g} ppm/K"
            own_ppm = 1e6 * COVERAGE_FACTOR * float(coefficient.std_dev)
            entry["temperature_coefficient_uncertainty"] = f"{own_ppm:.2g} ppm/K"
        before = Before(resistor.measured_ohm, resistor.uncertainty)
        return cls("resistors", "", resistor.name, "ohm", before, found, entry, causes_of(value))


def causes_of(value: UFloat) -> tuple[str, ...]:
    """Of its uncertainty, the largest first, each as a part of the value."""
    size = abs(float(value.nominal_value))
    return tuple(f"{each.cause} {100.0 * each.standard / size:.2g} %" for each in contributions(value))


def rendered_ratio(ratio: float) -> str:
    """In %: as a document has it."""
    return f"{100.0 * ratio:.3g} %"
