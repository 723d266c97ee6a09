"""Coverage factors: how many standard uncertainties hold as much as +-2 of a normal distribution, 95.45 %.

Where limits of error dominate, less than 2 do, since nothing lies beyond a limit (`measure.distribution`). Where few
readings count, more do. A scatter that was seen in few readings is itself uncertain: of a mean of two, +-2 s / sqrt n
holds 71 % instead of 95 %. So each standard uncertainty that comes from a scatter carries its degrees of freedom, a
figure has effective ones after Welch and Satterthwaite (JCGM 100, G.4.1), and its factor grows as that of Student's
distribution does (the column of JCGM 100, table G.2, for whole coverage factors).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from uncertainties import UFloat, Variable

from benchctl.measure.distribution import reach
from benchctl.measure.uncertainty import COVERAGE_FACTOR, Cause, Reference, Scatter

COVERED = math.erf(COVERAGE_FACTOR / math.sqrt(2.0))  # 95.45 %

_AS_GOOD_AS_KNOWN = 1000  # degrees of freedom: the factor is 2.0025 there
_HALVINGS = 60
_UNKNOWN = Cause("")


@dataclass(frozen=True)
class Combined:
    """The standard uncertainty of a value, with what errors may have in common, and its effective degrees of freedom:
    infinite where no scatter counts. `limits`: how far each error that has a limit may move the value."""

    standard: float
    freedom: float
    limits: tuple[float, ...] = ()

    @property
    def factor(self) -> float:
        """k for 95.45 %: that of the distribution, and more by as much as Student's t is more than 2."""
        if not self.standard > 0.0:
            return COVERAGE_FACTOR
        normal = math.sqrt(max(self.standard**2 - sum(limit**2 for limit in self.limits) / 3.0, 0.0))
        known = reach(self.limits, normal, COVERED) / self.standard if self.limits else COVERAGE_FACTOR
        return known * coverage_factor(max(self.freedom, 1.0)) / COVERAGE_FACTOR


@dataclass(frozen=True)
class _Part:
    """How far one error moves a value: a standard uncertainty with its sign, and what error that is."""

    size: float
    cause: Cause


def combined(value: UFloat) -> Combined:
    """The combined standard uncertainty (JCGM 100, 5.2.2), its degrees of freedom (G.4.1, equation G.2b), and limits.

    Errors that go back to one reference count as alike or as apart, whichever is worse for this value. The formula of
    the degrees of freedom holds for independent inputs, so what comes from the same readings is put together first.
    """
    parts = [_Part(float(slope * variable.std_dev), _cause(variable)) for variable, slope in value.derivatives.items()]
    of_reference: dict[Reference, list[_Part]] = defaultdict(list)
    of_scatter: dict[Scatter, float] = defaultdict(float)
    limits: list[float] = []
    for part in parts:
        if isinstance(part.cause.shared, Reference):
            of_reference[part.cause.shared].append(part)
        elif isinstance(part.cause.shared, Scatter):
            of_scatter[part.cause.shared] += part.size**2
        elif part.cause.is_limited:
            limits.append(_limit(part.size))
    variance = sum(part.size**2 for part in parts)
    variance += sum(in_common(_sizes(alike), reference.most) for reference, alike in of_reference.items())
    for reference, alike in of_reference.items():
        limits += _limits_in_common(alike, reference)
    doubt = sum(part**2 / scatter.freedom for scatter, part in of_scatter.items())
    return Combined(math.sqrt(variance), variance**2 / doubt if doubt > 0.0 else math.inf, tuple(limits))


def _limits_in_common(parts: Sequence[_Part], reference: Reference) -> list[float]:
    """Limits of errors with one reference: of all together where they count as alike, else of each."""
    if not all(part.cause.is_limited for part in parts):
        return []
    if not in_common(_sizes(parts), reference.most):
        return [_limit(part.size) for part in parts]
    return [_limit(sum(_sizes(parts)))] if reference.most == 1.0 else []


def _sizes(parts: Sequence[_Part]) -> list[float]:
    return [part.size for part in parts]


def _limit(size: float) -> float:
    return math.sqrt(3.0) * abs(size)


def _cause(variable: Variable) -> Cause:
    return variable.tag if isinstance(variable.tag, Cause) else _UNKNOWN


def shared_by(variable: Variable) -> Scatter | Reference | None:
    """What an error shares with others; nothing where it is its own."""
    return _cause(variable).shared


def in_common(parts: Sequence[float], most: float) -> float:
    """By how much the variance of a sum is more if its parts have as much in common as they may."""
    return most * max(sum(parts) ** 2 - sum(part**2 for part in parts), 0.0)


def coverage_factor(freedom: float) -> float:
    """k of Student's t for 95.45 %, the degrees of freedom cut to the next lower whole number (JCGM 100, G.4.1).

    Raises:
        ValueError: less than one degree of freedom, which leaves nothing to judge a scatter by.
    """
    if freedom < 1.0:
        raise ValueError(f"a scatter with {freedom} degrees of freedom says nothing")
    return COVERAGE_FACTOR if freedom > _AS_GOOD_AS_KNOWN else _student(math.floor(freedom))


def expanded(value: UFloat) -> tuple[float, float]:
    """U and k of an uncertain value."""
    found = combined(value)
    factor = found.factor
    return factor * found.standard, factor


@cache
def _student(freedom: int) -> float:
    low, high = 0.0, math.pi / 2.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if _within(middle, freedom) < COVERED else (low, middle)
    return math.tan((low + high) / 2.0) * math.sqrt(freedom)


def _within(angle: float, freedom: int) -> float:
    """P(|t| < sqrt(freedom) tan(angle)) in closed form (Abramowitz and Stegun, 26.7.3 and 26.7.4)."""
    sine, cosine = math.sin(angle), math.cos(angle)
    is_odd = freedom % 2 == 1
    term = cosine if is_odd else 1.0
    total = 0.0 if freedom == 1 else term
    for order in range(3 if is_odd else 2, freedom - 1, 2):
        term *= cosine**2 * (order - 1) / order
        total += term
    return 2.0 / math.pi * (angle + sine * total) if is_odd else sine * total
