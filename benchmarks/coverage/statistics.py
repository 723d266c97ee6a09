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
    def chance(self) -> float:
        """Two standard deviations of the covered part for 95 %, by chance.

        The figures of one bench share its errors, so the count is that of benches.
        """
        return 2.0 * math.sqrt(0.95 * 0.05 / self.benches)

    @property
    def mark(self) -> str:
        """What is wrong with the uncertainties, by more than chance explains; nothing where they are as they should be.

        `too narrow`: the truth lies outside too often. `too wide`: errors are smaller than stated. `rectangular`: they
        are as large as stated, and yet always within U, since a limit of error has no tails.
        """
        least, most = COVERED
        if self.bounds == self.figures:
            return "too narrow" if self.covered < least - self.chance else "bounds"
        if self.covered < least - self.chance or self.spread > SPREAD[1]:
            return "too narrow"
        if self.spread < SPREAD[0]:
            return "too wide"
        return "rectangular" if self.covered > most + self.chance else ""


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
        f"chance allows for {groups[-1].chance:.1%} more or less"
    )
    table = Table(title=title, caption=caption, title_justify="left", caption_justify="left")
    for heading in ("figure", "figures", "bounds", "covered", "mean", "spread", ""):
        table.add_column(heading, justify="left" if heading in {"figure", ""} else "right")
    for row in groups:
        table.add_row(
            row.name,
            str(row.figures),
            str(row.bounds or ""),
            f"{row.covered:.1%}",
            f"{row.mean:+.2f}",
            f"{row.spread:.2f}",
            row.mark,
        )
    return table
