"""One piece of the campaign's work, as any process may be given it."""

from __future__ import annotations

from pathlib import Path

from benchmarks.coverage.campaign import Judged, Pair, judged_figures

Job = tuple[Pair, int]  # with the seed of a bench


def judged_figures_of(job: Job, folder: Path) -> list[Judged]:
    """See `judged_figures`."""
    pair, seed = job
    return judged_figures(seed, pair, folder)
