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

LEAST_COVERED = 0.95
SPREAD = (0.85, 1.15)


@dataclass(frozen=True)
class Coverage:
    """Statistics of a group of figures; mean and spread are those of the errors over their standard uncertainties."""

    name: str
    benches: int
    figures: int
    covered: float
    mean: float
    spread: float

    @property
    def is_honest(self) -> bool:
        """Whether the uncertainties are neither too small nor too large by more than chance explains.

        The figures of one bench share its errors, so the count is that of benches: two standard deviations of as many
            draws are allowed.
        """
        chance = 2.0 * math.sqrt(LEAST_COVERED * (1.0 - LEAST_COVERED) / self.benches)
        return self.covered >= LEAST_COVERED - chance and SPREAD[0] <= self.spread <= SPREAD[1]


def coverage(name: str, judged: Iterable[Judged]) -> Coverage:
    """The statistics of some figures. Bounds count as covered or not, but have no score."""
    figures = list(judged)
    scores = np.array([figure.score for figure in figures if figure.score is not None])
    return Coverage(
        name,
        len({figure.seed for figure in figures}),
        len(figures),
        float(np.mean([figure.is_covered for figure in figures])),
        float(scores.mean()) if scores.size else float("nan"),
        float(scores.std()) if scores.size else float("nan"),
    )


def by_name(judged: Iterable[Judged]) -> list[Coverage]:
    """One group for each figure of each analysis, all channels together; then all of them."""
    everything = list(judged)
    groups: dict[str, list[Judged]] = defaultdict(list)
    for figure in everything:
        groups[f"{figure.analysis}: {figure.name}"].append(figure)
    return [coverage(name, group) for name, group in groups.items()] + [coverage("all", everything)]


def table_of(rows: Iterable[Coverage], benches: int) -> Table:
    """All groups as a table."""
    title = f"Coverage over {benches} benches"
    caption = f"asked for: truth within k = 2 for {LEAST_COVERED:.0%} or more, spread {SPREAD[0]} to {SPREAD[1]}"
    table = Table(title=title, caption=caption, title_justify="left", caption_justify="left")
    for heading in ("figure", "figures", "covered", "mean", "spread", ""):
        table.add_column(heading, justify="left" if heading in {"figure", ""} else "right")
    for row in rows:
        verdict = "" if row.is_honest else "off"
        table.add_row(
            row.name, str(row.figures), f"{row.covered:.1%}", f"{row.mean:+.2f}", f"{row.spread:.2f}", verdict
        )
    return table
