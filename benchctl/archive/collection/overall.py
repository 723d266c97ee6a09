"""The verdict on a whole run, from how many of its figures have which verdict. Page, list and search share it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

OverallVerdict = Literal["passes", "fails", "inconclusive", "no verdict"]
OVERALL_VERDICTS: tuple[OverallVerdict, ...] = get_args(OverallVerdict)


@dataclass(frozen=True)
class Counts:
    """How many figures have each verdict, and how much of the run cannot have one.

    Attributes:
        unmeasured: steps that lack figures.
        contradicted: figures about which instruments contradict each other.
    """

    passes: int = 0
    fails: int = 0
    inconclusive: int = 0
    unmeasured: int = 0
    contradicted: int = 0


def overall_verdict(counts: Counts, *, is_finished: bool, is_changed: bool) -> OverallVerdict:
    """One word for the run: it passes only if it came to its end, gave its figures, every verdict passes, and nobody
    changed its folder since."""
    if counts.fails:
        return "fails"
    if is_changed or not is_finished:
        return "no verdict"
    if counts.inconclusive or counts.unmeasured or counts.contradicted:
        return "inconclusive"
    return "passes" if counts.passes else "no verdict"
