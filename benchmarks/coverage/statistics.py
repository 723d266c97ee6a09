"""How often the true value lies inside the stated interval, and how the errors spread compared with the stated
uncertainty."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from rich.table import Table

from benchmarks.coverage.campaign import Judged

COVERED = (0.93, 0.975)
SPREAD = (0.85, 1.15)
_SCORE = 1.96  # standard deviations of a normal distribution hold 95 %


@dataclass(frozen=True)
class Coverage:
    """Statistics of a group of figures; mean and spread are those of the errors over their standard uncertainties.

    `bounds` counts those of the figures that are bounds: they count as covered or not, but have no score.
    """

    name: str
    benches: int
    figures: int
    covered: float
    mean: float
    spread: float
    bounds: int = 0

    @property
    def interval(self) -> tuple[float, float]:
        """Where the covered part may be, if chance is allowed for with 95 %: the score interval (Wilson, 1927).

        The figures of one bench share its errors, so the count is that of benches.
        """
        weight = _SCORE**2 / self.benches
        middle = (self.covered + weight / 2.0) / (1.0 + weight)
        half = math.sqrt(weight * (self.covered * (1.0 - self.covered) + weight / 4.0)) / (1.0 + weight)
        return middle - half, middle + half

    @property
    def mark(self) -> str:
        """What is wrong with the uncertainties, by more than chance explains; nothing where they are as they should be.

        `too narrow`: the truth lies outside too often. `too wide`: errors are smaller than stated. `no tails`: they are
        as large as stated, and yet nearly always within U.
        """
        least, most = COVERED
        lowest, highest = self.interval
        if self.bounds == self.figures:
            return "too narrow" if highest < least else "bounds"
        if highest < least or self.spread > SPREAD[1]:
            return "too narrow"
        if self.spread < SPREAD[0]:
            return "too wide"
        return "no tails" if lowest > most else ""


def coverage(name: str, judged: Iterable[Judged]) -> Coverage:
    """The statistics of some figures."""
    figures = list(judged)
    scores = np.array([figure.score for figure in figures if figure.score is not None])
    return Coverage(
        name,
        len({figure.seed for figure in figures}),
        len(figures),
        float(np.mean([figure.is_covered for figure in figures])),
        float(scores.mean()) if scores.size else float("nan"),
        float(scores.std()) if scores.size else float("nan"),
        len(figures) - scores.size,
    )


def by_name(judged: Iterable[Judged]) -> list[Coverage]:
    """One group for each figure of each analysis, all channels together; then all of them."""
    everything = list(judged)
    groups: dict[str, list[Judged]] = defaultdict(list)
    for figure in everything:
        groups[f"{figure.analysis}: {figure.name}"].append(figure)
    return [coverage(name, group) for name, group in groups.items()] + [coverage("all", everything)]


def table_of(rows: Iterable[Coverage], what: str) -> Table:
    """All groups as a table."""
    groups = list(rows)
    title = f"Coverage over {groups[-1].benches} benches: {what}"
    caption = (
        f"asked for: truth within U for {COVERED[0]:.1%} to {COVERED[1]:.1%}, spread {SPREAD[0]} to {SPREAD[1]}; "
        "the interval is what chance leaves open of the covered part"
    )
    table = Table(title=title, caption=caption, title_justify="left", caption_justify="left")
    for heading in ("figure", "figures", "bounds", "covered", "interval", "mean", "spread", ""):
        table.add_column(heading, justify="left" if heading in {"figure", ""} else "right")
    for row in groups:
        table.add_row(
            row.name,
            str(row.figures),
            str(row.bounds or ""),
            f"{row.covered:.1%}",
            " to ".join(f"{100.0 * end:.1f}" for end in row.interval),
            f"{row.mean:+.2f}",
            f"{row.spread:.2f}",
            row.mark,
        )
    return table
