"""Coverage factors where an uncertainty rests on few readings: Student's t by effective degrees of freedom.

A scatter that was seen in few readings is itself uncertain: of a mean of two, +-2 s / sqrt n holds 71 % instead of
95 %. So each standard uncertainty that comes from a scatter carries its degrees of freedom, a figure has effective
ones after Welch and Satterthwaite (JCGM 100, G.4.1), and its factor is that of Student's distribution for as much as
+-2 standard deviations of a normal one hold, 95.45 % (the column of JCGM 100, table G.2, for whole coverage factors).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from uncertainties import UFloat, Variable

from benchctl.measure.uncertainty import COVERAGE_FACTOR, Cause, Reference, Scatter

COVERED = math.erf(COVERAGE_FACTOR / math.sqrt(2.0))  # 95.45 %

_AS_GOOD_AS_KNOWN = 1000  # degrees of freedom: the factor is 2.0025 there
_HALVINGS = 60


@dataclass(frozen=True)
class Combined:
    """The standard uncertainty of a value, with what errors may have in common, and its effective degrees of freedom:
    infinite where no scatter counts."""

    standard: float
    freedom: float


def combined(value: UFloat) -> Combined:
    """The combined standard uncertainty (JCGM 100, 5.2.2) and its degrees of freedom (G.4.1, equation G.2b).

    Errors that go back to one reference count as alike or as apart, whichever is worse for this value. The formula of
    the degrees of freedom holds for independent inputs, so what comes from the same readings is put together first.
    """
    of_reference: dict[Reference, list[float]] = defaultdict(list)
    of_scatter: dict[Scatter, float] = defaultdict(float)
    variance = 0.0
    for variable, slope in value.derivatives.items():
        part, tag = float(slope * variable.std_dev), shared_by(variable)
        variance += part**2
        if isinstance(tag, Reference):
            of_reference[tag].append(part)
        elif isinstance(tag, Scatter):
            of_scatter[tag] += part**2
    variance += sum(in_common(parts, reference.most) for reference, parts in of_reference.items())
    doubt = sum(part**2 / scatter.freedom for scatter, part in of_scatter.items())
    return Combined(math.sqrt(variance), variance**2 / doubt if doubt > 0.0 else math.inf)


def shared_by(variable: Variable) -> Scatter | Reference | None:
    """What an error shares with others; nothing where it is its own."""
    return variable.tag.shared if isinstance(variable.tag, Cause) else None


def in_common(parts: Sequence[float], most: float) -> float:
    """By how much the variance of a sum is more if its parts have as much in common as they may."""
    return most * max(sum(parts) ** 2 - sum(part**2 for part in parts), 0.0)


def coverage_factor(freedom: float) -> float:
    """k for 95.45 %, the degrees of freedom cut to the next lower whole number (JCGM 100, G.4.1).

    Raises:
        ValueError: less than one degree of freedom, which leaves nothing to judge a scatter by.
    """
    if freedom < 1.0:
        raise ValueError(f"a scatter with {freedom} degrees of freedom says nothing")
    return COVERAGE_FACTOR if freedom > _AS_GOOD_AS_KNOWN else _student(math.floor(freedom))


def expanded(value: UFloat) -> tuple[float, float]:
    """U and k of an uncertain value."""
    found = combined(value)
    factor = coverage_factor(max(found.freedom, 1.0))
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
