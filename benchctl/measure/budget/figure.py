"""One measured value with its uncertainty, and the verdict on it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from typing import Literal

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.freedom import expanded
from benchctl.measure.uncertainty import COVERAGE_FACTOR

Bound = Literal["", "at most", "at least"]
Verdict = Literal["", "passes", "fails", "inconclusive"]


@dataclass(frozen=True)
class Figure:
    """A figure: base SI units or "1" for a ratio (a `thd_n` of 0.01 is 1 %).

    `expanded_uncertainty` is U = k u in the figure's own unit; it is None where the value is only a `bound`.
    `bound_reason`: why no more than the bound is known, and what to do, where that can be said.
    `channel` is the amplifier's, "total", or empty; `capture` names the records it came from, joined by a space.
    `load_ohm` (nominal) and `frequency_hz` are given where the figure holds at others than the bench was set to, as
    each gain of a response does. `contradiction`: why nothing can be said of it, where instruments contradict each
    other on what it rests on; its verdict is inconclusive then, whatever it is held against.
    """

    name: str
    value: float
    unit: str
    expanded_uncertainty: float | None = None
    coverage_factor: float | None = None
    channel: str = ""
    burst_cycles: int | None = None
    bound: Bound = ""
    verdict: Verdict = ""
    capture: str = ""
    load_ohm: float | None = None
    frequency_hz: float | None = None
    contradiction: str = ""
    bound_reason: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value) or not math.isfinite(self.expanded_uncertainty or 0.0):
            raise MeasurementError(f"{self.name} came out as {self.value}, which is not a figure")


@dataclass(frozen=True)
class Made:
    """A figure as it was made, and the uncertain value that it was made from, which knows each of its errors."""

    figure: Figure
    value: UFloat


_MADE: ContextVar[list[Made] | None] = ContextVar("made", default=None)


@contextmanager
def keeping_values() -> Iterator[list[Made]]:
    """Keep the uncertain value of every figure that is made in the block: a budget needs more than its U. Figures that
    are stored and compared hold numbers only, so it is kept beside them. A block around this one is given them too."""
    made: list[Made] = []
    outside, before = _MADE.get(), _MADE.set(made)
    try:
        yield made
    finally:
        _MADE.reset(before)
        if outside is not None:
            outside += made


def keep_value(figure: Figure, before: Figure, more: UFloat) -> None:
    """Where values are kept: `figure` is made from what `before` was made from, and one more error."""
    if (made := _MADE.get()) is not None and (value := value_of(before, made)) is not None:
        made.append(Made(figure, value + more))


def value_of(figure: Figure, made: Sequence[Made]) -> UFloat | None:
    """What a figure was made from, whatever was noted on it since; None where its uncertainty is no sum of errors."""
    alike = (figure.name, figure.value, figure.expanded_uncertainty)
    found = (each for each in reversed(made) if alike == _numbers_of(each.figure))
    return next((each.value for each in found), None)


def _numbers_of(figure: Figure) -> tuple[str, float, float | None]:
    return figure.name, figure.value, figure.expanded_uncertainty


def figure_of(name: str, value: UFloat, unit: str, channel: str = "") -> Figure:
    """The figure of an uncertain value, with U = k u for about 95 %: `measure.freedom` says how large k is."""
    uncertainty, factor = expanded(value)
    figure = Figure(
        name=name,
        value=float(value.nominal_value),
        unit=unit,
        expanded_uncertainty=uncertainty,
        coverage_factor=factor,
        channel=channel,
    )
    if (made := _MADE.get()) is not None:
        made.append(Made(figure, value))
    return figure


def u_to_combine(figure: Figure) -> float:
    """U as far as it may be put together with that of another figure by the root of the sum of squares; nought where it
    is not known.

    Two limits of error together have tails that each alone has not, so k counts as 2 at least.
    """
    expanded, factor = figure.expanded_uncertainty or 0.0, figure.coverage_factor or COVERAGE_FACTOR
    return expanded * max(COVERAGE_FACTOR / factor, 1.0)


def u_of_difference(before: Figure, after: Figure) -> float:
    """U of the difference of two figures whose errors count as independent."""
    return math.hypot(u_to_combine(before), u_to_combine(after))


def as_bound(figure: Figure, bound: Literal["at most", "at least"], reason: str) -> Figure:
    """The figure as no more than the end of its interval, with the reason why no more is known."""
    expanded = figure.expanded_uncertainty or 0.0
    end = figure.value + expanded if bound == "at most" else figure.value - expanded
    return replace(figure, value=end, expanded_uncertainty=None, coverage_factor=None, bound=bound, bound_reason=reason)


@dataclass(frozen=True)
class Requirement:
    """What a figure must meet: below, above, or within (its absolute value not above) a number in the figure's unit."""

    relation: Literal["below", "above", "within"]
    limit: float


def judge(figure: Figure, requirement: Requirement) -> Figure:
    """`figure` with its verdict under a guard band of the expanded uncertainty U on both sides of the limit.

    The decision rule is that of guarded acceptance and guarded rejection (JCGM 106:2012, 8.3.2 and 8.3.3, from
    memory) with the band w = U: it passes if the whole of value +- U meets the limit, fails if none of it does, and
    otherwise is inconclusive. A bound takes the place of value + U ("at most") or value - U ("at least").
    """
    if figure.contradiction:
        return replace(figure, verdict="inconclusive")
    lowest, highest = _interval(figure)
    if requirement.relation == "above":
        return replace(figure, verdict=_verdict(lowest >= requirement.limit, highest < requirement.limit))
    if requirement.relation == "within":
        least = 0.0 if lowest <= 0.0 <= highest else min(abs(lowest), abs(highest))
        most = max(abs(lowest), abs(highest))
        return replace(figure, verdict=_verdict(most <= requirement.limit, least > requirement.limit))
    return replace(figure, verdict=_verdict(highest <= requirement.limit, lowest > requirement.limit))


def _interval(figure: Figure) -> tuple[float, float]:
    """The values the figure leaves possible; everything, where nothing is known of its uncertainty."""
    if figure.bound == "at most":
        return -math.inf, figure.value
    if figure.bound == "at least":
        return figure.value, math.inf
    if figure.expanded_uncertainty is None:
        return -math.inf, math.inf
    return figure.value - figure.expanded_uncertainty, figure.value + figure.expanded_uncertainty


def _verdict(passes: bool, fails: bool) -> Verdict:
    if passes:
        return "passes"
    return "fails" if fails else "inconclusive"


def from_capture(figures: Iterable[Figure], *names: str) -> list[Figure]:
    """The figures with the names of the captures they came from."""
    return [replace(figure, capture=" ".join(names)) for figure in figures]
