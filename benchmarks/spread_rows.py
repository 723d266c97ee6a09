"""How much faster two processes compute runs again than one."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from benchctl.archive.reanalysis.one_run import RunResult, RunTask, compute_run
from benchctl.spread.here import Here
from benchmarks.rows import Row
from benchmarks.sequences.trials import trial

SEQUENCE, AMPLIFIER = "burst_and_continuous", "hx2150"
RUNS = 24
WARM_UP = 4
"""Runs before the clock starts: processes are started and import the program meanwhile."""


@dataclass(frozen=True)
class Rate:
    """What one run took, s, when so many processes were at work; and how long it took until they were."""

    workers: int
    run_s: float
    start_s: float


def rows() -> Iterator[Row]:
    """The speed-up, and what one run takes."""
    with TemporaryDirectory() as scratch:
        one, two = (rate_of(run_tasks(Path(scratch)), workers) for workers in (1, 2))
    yield Row(
        "figures of a run computed again, by one process",
        f"{one.run_s * 1e3:.0f} ms",
        "",
        f"{SEQUENCE} of {AMPLIFIER}, all figures from their captures",
    )
    yield Row(
        "two processes against one",
        f"{one.run_s / two.run_s:.2f} times",
        "at least 1.7 times on two quiet processors",
        f"of {RUNS - WARM_UP} runs, without their start, which takes {two.start_s:.1f} s",
    )


def run_tasks(scratch: Path) -> list[RunTask]:
    """Copies of one dry run; it is made if it is not there yet."""
    first = scratch / "0"
    if not first.exists():
        trial(SEQUENCE, AMPLIFIER, scratch / "made")
        next((scratch / "made").iterdir()).rename(first)
    copies = [first, *(scratch / str(number) for number in range(1, RUNS))]
    for copy in copies[1:]:
        if not copy.exists():
            shutil.copytree(first, copy)
    return [RunTask(copy.name, copy) for copy in copies]


def rate_of(tasks: list[RunTask], workers: int) -> Rate:
    """Compute them all, and time all but the first few.

    Raises:
        RuntimeError: one could not be computed.
    """
    began = time.perf_counter()
    start_s = 0.0
    for number, (task, result) in enumerate(Here(workers).each(compute_run, tasks), start=1):
        if not isinstance(result, RunResult) or result.table is None:
            raise RuntimeError(f"{task.path}: {result}")
        if number == WARM_UP:
            start_s = time.perf_counter() - began
    return Rate(workers, (time.perf_counter() - began - start_s) / (len(tasks) - WARM_UP), start_s)
