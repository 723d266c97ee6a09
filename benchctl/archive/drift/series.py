"""The values of a bench in series, each divided into phases by what was calibrated, and judged by its control chart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import median

from benchctl.archive.drift.value import Dated, Kind, Reference
from benchctl.measure.control.judging import Judgement, judge

# A change of less than this part of what the bench file states is told, but is no alarm: a check four times as fine as
# what it checks is enough (common practice).
MATTERS_FROM = 0.25
# A value more than so many times less certain than the best of its phase would only scatter, and is left out: a clamp
# at an idle current beside one at full power.
_TOO_COARSE = 2.0
_ORDER: tuple[Kind, ...] = ("gain", "figure", "zero")


@dataclass(frozen=True)
class Phase:
    """`points` in the order of time; `coarse`, how many were left out as too uncertain."""

    name: str
    points: tuple[Dated, ...]
    coarse: int
    judged: Judgement

    @property
    def values(self) -> list[float]:
        return [point.given.value for point in self.points]

    @property
    def allowed(self) -> float:
        """How far a value may be off by what the bench file states: of most points."""
        return median(point.given.allowed for point in self.points)

    def is_outside(self, place: int) -> bool:
        """Whether the value at this place is beyond a limit."""
        return any(each.kind == "outside" and each.first <= place <= each.last for each in self.judged.signals)

    @property
    def matters(self) -> bool:
        """Whether what was found is no chance, and so large that a figure would suffer by it."""
        return self.judged.is_beyond_chance and abs(self.judged.change) >= MATTERS_FROM * self.allowed

    @property
    def is_alarm(self) -> bool:
        """A lasting change that matters and has not gone again."""
        return self.judged.state == "changed" and self.judged.goes_on and self.matters


@dataclass(frozen=True)
class Series:
    """All values of one reference; the last phase is the present one."""

    reference: Reference
    phases: tuple[Phase, ...]

    @property
    def present(self) -> Phase:
        return self.phases[-1]


def series_of(dated: Sequence[Dated]) -> list[Series]:
    """Every series: gains first, then a check standard's figures, then zeros, each kind in the order of its first
    value."""
    found: dict[Reference, list[Dated]] = {}
    for each in sorted(dated, key=lambda each: (each.began, each.run)):
        found.setdefault(each.given.reference, []).append(each)
    every = [Series(reference, tuple(_phases(points))) for reference, points in found.items()]
    return sorted(every, key=lambda series: _ORDER.index(series.reference.kind))


def _phases(points: Sequence[Dated]) -> Iterator[Phase]:
    for name, group in groupby(points, key=lambda point: point.given.phase):
        every = tuple(group)
        finest = min(point.given.allowed for point in every)
        kept = tuple(point for point in every if point.given.allowed <= _TOO_COARSE * finest)
        yield Phase(name, kept, len(every) - len(kept), judge([point.given.value for point in kept]))
