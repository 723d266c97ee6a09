"""How often what was told covers the truth, by quantity."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

from rich.table import Table
from scipy.stats import beta

from benchmarks.fits.trial import Judged, Outcome

DECIDES = 0.99
LEAST, MOST = 0.93, 0.975
"""Part of what is told that may lie within U (k = 2): between these U is neither too narrow nor too wide."""

_HEADINGS = ("quantity", "told", "inside U", f"{DECIDES:.0%} of that", "spread of error/u", "median U", "worst", "")


def told_by_name(outcomes: Sequence[Outcome]) -> dict[str, list[Judged]]:
    """Each quantity of all draws, told or not."""
    found: dict[str, list[Judged]] = {}
    for outcome in outcomes:
        for each in outcome.judged:
            found.setdefault(each.name, []).append(each)
    return found


def table_of(outcomes: Sequence[Outcome], title: str) -> Table:
    """A row for each quantity."""
    table = Table(title=title)
    for heading in _HEADINGS:
        table.add_column(heading, justify="right" if heading not in {"quantity", ""} else "left")
    for name, each in told_by_name(outcomes).items():
        told = [one for one in each if one.is_told]
        table.add_row(name, f"{len(told)}/{len(each)}", *_cells(told))
    return table


def _cells(told: Sequence[Judged]) -> tuple[str, ...]:
    if not told:
        return ("-",) * 5
    inside = inside_of(told)
    low, high = interval(inside, len(told))
    return (
        f"{inside} = {inside / len(told):.1%}",
        f"{low:.1%} to {high:.1%}",
        f"{2.0 * math.sqrt(sum(one.off**2 for one in told) / len(told)):.2f}",
        f"{median(one.width for one in told):.2%}",
        f"{max(abs(one.off) for one in told):.2f} U",
        mark_of(inside, len(told)),
    )


def inside_of(told: Sequence[Judged]) -> int:
    """How many cover the truth."""
    return sum(abs(one.off) <= 1.0 for one in told)


def mark_of(inside: int, of_all: int) -> str:
    """What is wrong with U beyond chance; '' where nothing is."""
    low, high = interval(inside, of_all)
    if high < LEAST:
        return "TOO NARROW"
    return "too wide" if low > MOST else ""


def interval(inside: int, of_all: int) -> tuple[float, float]:
    """The binomial interval of a share (Clopper and Pearson, Biometrika 26, 1934)."""
    left = (1.0 - DECIDES) / 2.0
    low = 0.0 if inside == 0 else float(beta.ppf(left, inside, of_all - inside + 1))
    high = 1.0 if inside == of_all else float(beta.ppf(1.0 - left, inside + 1, of_all - inside))
    return low, high
