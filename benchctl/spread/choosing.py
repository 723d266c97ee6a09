"""Who does the work, as options say."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from benchctl.errors import UsageError
from benchctl.spread.cluster import cluster
from benchctl.spread.here import Here
from benchctl.spread.spread import Spread, processors


@contextmanager
def spread_over(workers: int | None = None, scheduler: str = "") -> Iterator[Spread]:
    """So many processes here (as many as there are processors, where no number is given), or the workers of a
    scheduler.

    Raises:
        UsageError: both are given, or the cluster cannot be used.
    """
    if not scheduler:
        yield Here(workers or processors())
        return
    if workers is not None:
        raise UsageError("--workers is for processes here; those of a cluster are started with: dask worker")
    with cluster(scheduler) as found:
        yield found
