"""How often the true value lies inside the stated interval, and how the errors spread compared with the stated
uncertainty."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rich.table import Table

from benchmarks.coverage.campaign import Judged, inputs_are_alike
from benchmarks.coverage.limited import LIMITED

COVERED = (0.93, 0.975)
SPREAD = (0.85, 1.15)
LIMIT = "a limit"
_SCORE = 2.576  # standard deviations of a normal distribution hold 99 %


@dataclass(frozen=True)
class Coverage:
    """Statistics of a group of figures; mean and spread are those of the errors over their standard uncertainties.

    `bounds` counts those of the figures that are bounds: they count as covered or not, but have no score. `apart` and
    `alike` are the spreads on benches whose inputs of the oscilloscope share nothing of their error of gain, and all of
    it. U is for the worse of both, so the larger one is judged.
    """

    name: str
    benches: int
    figures: int
    covered: float
    mean: float
    spread: float
    bounds: int = 0
    apart: float = math.nan
    alike: float = math.nan

    @property
    def limited(self) -> str:
        """Why U is a limit, if it is one."""
        return LIMITED.get(self.name, "")

    @property
    def widest(self) -> float:
        """The spread that counts."""
        return max((each for each in (self.apart, self.alike) if not math.isnan(each)), default=self.spread)

    @property
    def interval(self) -> tuple[float, float]:
        """Where the covered part may be, if chance is allowed for with 99 %: the score interval (Wilson, 1927).

        The figures of one bench share its errors, so the count is that of benches.
        """
        weight = _SCORE**2 / self.benches
        middle = (self.covered + weight / 2.0) / (1.0 + weight)
        half = math.sqrt(weight * (self.covered * (1.0 - self.covered) + weight / 4.0)) / (1.0 + weight)
        return middle - half, middle + half

    @property
    def chance(self) -> float:
        """By what part a spread may be off by chance, with 99 %: of n normal errors by 1 / sqrt(2 n), as a standard
        deviation; either spread is that of half of the benches."""
        return _SCORE / math.sqrt(self.benches)

    @property
    def mark(self) -> str:
        """What is wrong with the uncertainties, by more than chance explains; nothing where they are as they should be.

        `too narrow`: the truth lies outside too often. `too wide`: errors are smaller than stated. `no tails`: they are
        as large as stated, and yet nearly always within U. `a limit`: they are smaller, and `limited` says why.
        """
        least, most = COVERED
        lowest, highest = self.interval
        if self.bounds == self.figures:
            return "too narrow" if highest < least else "bounds"
        if highest < least or self.widest / (1.0 + self.chance) > SPREAD[1]:
            return "too narrow"
        spreads_little = self.widest * (1.0 + self.chance) < SPREAD[0]
        is_wide = spreads_little or lowest > most
        if self.limited and is_wide:
            return LIMIT
        if spreads_little:
            return "too wide"
        return "no tails" if is_wide else ""


def coverage(name: str, judged: Iterable[Judged]) -> Coverage:
    """The statistics of some figures."""
    figures = list(judged)
    scores = _scores(figures)
    return Coverage(
        name,
        len({figure.seed for figure in figures}),
        len(figures),
        float(np.mean([figure.is_covered for figure in figures])),
        float(scores.mean()) if scores.size else float("nan"),
        _spread(scores),
        len(figures) - scores.size,
        apart=_spread(_scores(each for each in figures if not inputs_are_alike(each.seed))),
        alike=_spread(_scores(each for each in figures if inputs_are_alike(each.seed))),
    )


def _scores(figures: Iterable[Judged]) -> NDArray[np.float64]:
    return np.array([figure.score for figure in figures if figure.score is not None], dtype=np.float64)


def _spread(scores: NDArray[np.float64]) -> float:
    return float(scores.std()) if scores.size else float("nan")


def by_name(judged: Iterable[Judged]) -> list[Coverage]:
    """One group for each figure of each analysis, all channels together; then all of them."""
    everything = list(judged)
    groups: dict[str, list[Judged]] = defaultdict(list)
    for figure in everything:
        groups[f"{figure.analysis}: {figure.name}"].append(figure)
    return [coverage(name, group) for name, group in groups.items()] + [coverage("all", everything)]


def limits_of(rows: Iterable[Coverage]) -> list[str]:
    """Of each figure whose U is a limit that its errors do not fill, why it is one."""
    return [f"{row.name}: a limit: {row.limited}." for row in rows if row.mark == LIMIT]


def table_of(rows: Iterable[Coverage], what: str) -> Table:
    """All groups as a table."""
    groups = list(rows)
    title = f"Coverage over {groups[-1].benches} benches: {what}"
    caption = (
        f"asked for: truth within U for {COVERED[0]:.1%} to {COVERED[1]:.1%}, spread {SPREAD[0]} to {SPREAD[1]}; "
        "the interval is what chance leaves open of the covered part (99 %). The larger spread counts of benches whose "
        "inputs of the oscilloscope share none of their error of gain (apart) and all of it (alike)"
    )
    table = Table(title=title, caption=caption, title_justify="left", caption_justify="left")
    for heading in ("figure", "figures", "bounds", "covered", "interval", "mean", "spread", "apart", "alike", ""):
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
            f"{row.apart:.2f}",
            f"{row.alike:.2f}",
            row.mark,
        )
    return table
