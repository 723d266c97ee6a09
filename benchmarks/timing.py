"""Stop watch: medians of functions that take turns, so that a busy computer slows all of them equally."""

from __future__ import annotations

import gc
import statistics
import time
import tracemalloc
from collections.abc import Callable

Work = Callable[[], object]


def seconds(work: Work) -> float:
    """How long `work` takes once."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def medians(*works: Work, repeats: int) -> tuple[float, ...]:
    """Median seconds of each function; they take turns, and the first turn, which fills caches, does not count."""
    for work in works:
        work()
    turns = [[seconds(work) for work in works] for _ in range(repeats)]
    return tuple(statistics.median(column) for column in zip(*turns, strict=True))


def peak_bytes(work: Work) -> int:
    """The highest memory use of `work`, without what was in use before."""
    gc.collect()
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
