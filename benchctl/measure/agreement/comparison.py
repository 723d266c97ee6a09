"""One quantity seen twice: what each instrument shows, how far they may be apart, and what to look at where they are
further apart."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from benchctl.measure.agreement.reliance import RELIES_ON
from benchctl.measure.budget.figure import Figure, Verdict
from benchctl.measure.budget.power import TOTAL
from benchctl.quantity import render


@dataclass(frozen=True)
class Sight:
    """What one instrument shows: `uncertainty` is expanded (k = 2), in the unit of the value."""

    who: str
    value: float
    uncertainty: float = 0.0


@dataclass(frozen=True)
class Comparison:
    """Two sights of one quantity, of the amplifier's `channel` where it has one.

    They agree as long as the first less the second is not below `at_least` and not above `at_most`; None where there is
    no such end. `check`: what to look at where they do not.
    """

    quantity: str
    unit: str
    first: Sight
    second: Sight
    at_least: float | None
    at_most: float | None
    check: str
    channel: str = ""

    @property
    def difference(self) -> float:
        """The first less the second."""
        return self.first.value - self.second.value

    @property
    def agrees(self) -> bool:
        """Whether both may be right."""
        too_low = self.at_least is not None and self.difference < self.at_least
        too_high = self.at_most is not None and self.difference > self.at_most
        return not (too_low or too_high)

    def __str__(self) -> str:
        """What they show and, where they disagree, by how much and what to look at."""
        return self.fact if self.agrees else f"{self.fact}. {self.check}"

    @property
    def fact(self) -> str:
        """What they show and, where they disagree, by how much."""
        shown = ", ".join(f"{sight.who} {self._say(sight.value)}" for sight in (self.first, self.second))
        said = f"{self.quantity}{f' of {self.channel}' if self.channel else ''}: {shown}"
        return said if self.agrees else f"{said} ({self._too_far()})"

    def _too_far(self) -> str:
        is_too_low = self.at_least is not None and self.difference < self.at_least
        bound = (self.at_least if is_too_low else self.at_most) or 0.0
        return f"{self._say(abs(self.difference))} apart, where at most {self._say(abs(bound))} can be right"

    def _say(self, value: float) -> str:
        return render(value, self.unit, digits=3)


def contradictions(comparisons: Iterable[Comparison]) -> list[Comparison]:
    """Those that do not agree."""
    return [comparison for comparison in comparisons if not comparison.agrees]


def doubted(figures: Sequence[Figure], comparisons: Iterable[Comparison]) -> list[Figure]:
    """The figures, those that rest on a contradicted quantity with the sentence on it; their values stay, and a verdict
    on them is inconclusive."""
    wrong = contradictions(comparisons)
    return [_doubted(figure, wrong) for figure in figures]


def _doubted(figure: Figure, wrong: Sequence[Comparison]) -> Figure:
    if figure.contradiction:
        return figure
    for comparison in wrong:
        if _rests_on(figure, comparison):
            verdict: Verdict = "inconclusive" if figure.verdict else ""
            return replace(figure, verdict=verdict, contradiction=str(comparison))
    return figure


def _rests_on(figure: Figure, comparison: Comparison) -> bool:
    names = RELIES_ON[comparison.quantity]
    same_channel = comparison.channel in {"", figure.channel} or figure.channel in {"", TOTAL}
    return same_channel and (names is None or figure.name in names)


def alike(one: Comparison, other: Comparison) -> bool:
    """Whether two comparisons are the same but for rounding."""
    if (one.quantity, one.channel, one.agrees) != (other.quantity, other.channel, other.agrees):
        return False
    size = max(abs(one.first.value), abs(one.second.value), one.first.uncertainty, one.second.uncertainty, 1e-12)
    return all(_same(a, b, 1e-7 * size) for a, b in zip(_numbers(one), _numbers(other), strict=True))


def _numbers(comparison: Comparison) -> tuple[float | None, ...]:
    first, second = comparison.first, comparison.second
    return first.value, first.uncertainty, second.value, second.uncertainty, comparison.at_least, comparison.at_most


def _same(a: float | None, b: float | None, within: float) -> bool:
    if a is None or b is None:
        return a is b
    return math.isclose(a, b, rel_tol=1e-7, abs_tol=within)
