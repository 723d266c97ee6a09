"""The budget of a figure: each error that its uncertainty is made of, largest first (JCGM 100, 5.1.4 and 7.2.7)."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from uncertainties import UFloat

from benchctl.measure.freedom import in_common, shared_by
from benchctl.measure.uncertainty import Cause, Reference

UNNAMED = "other errors"


@dataclass(frozen=True)
class Contribution:
    """What one cause contributes to a figure: a standard uncertainty in the figure's unit."""

    cause: str
    standard: float


def contributions(value: UFloat) -> list[Contribution]:
    """Each cause once, largest first. The squares add up to that of the combined standard uncertainty: what several
    errors may have in common stands in a line of its own."""
    variances: dict[str, float] = defaultdict(float)
    of_reference: dict[Reference, list[float]] = defaultdict(list)
    for variable, slope in value.derivatives.items():
        part, shared = float(slope * variable.std_dev), shared_by(variable)
        variances[_cause(variable.tag)] += part**2
        if isinstance(shared, Reference):
            of_reference[shared].append(part)
    for reference, parts in of_reference.items():
        if (together := in_common(parts, reference.most)) > 0.0:
            variances[f"what the {reference.name} have in common"] += together
    found = [Contribution(cause, variance**0.5) for cause, variance in variances.items() if variance > 0.0]
    return sorted(found, key=lambda each: -each.standard)


def _cause(tag: object) -> str:
    return (tag.words if isinstance(tag, Cause) else "") or UNNAMED
