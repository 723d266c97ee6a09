"""What a million runs take, reckoned from one: `python -m benchmarks.scale`. Seconds are those of one processor, which
other programs on the same computer hardly change."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import click
from rich.console import Console
from rich.table import Table

from benchctl.archive.collection.summary import summary_of
from benchctl.archive.reanalysis.kept import Kept, RunRow
from benchctl.archive.reanalysis.one_run import RunResult, RunTask, compute_run
from benchctl.archive.reanalysis.reanalyse import collection_of
from benchmarks.sequences.trials import BENCHES, trial
from benchmarks.timing import peak_bytes

MILLION = 1_000_000
REPEATS = 5
_COMPUTING = """
import re, resource, sys
from pathlib import Path
from benchctl.archive.reanalysis.one_run import RunTask, compute_run

for _ in range(5):
    compute_run(RunTask("run", Path(sys.argv[1])))
status = Path("/proc/self/status")
if status.exists():  # Linux: what getrusage tells is the parent's, where that has more
    print(1024 * int(re.search(r"VmHWM:\\s+(\\d+)", status.read_text())[1]))
else:  # macOS, in bytes
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""
KEPT, LISTED = 300, 2000


@dataclass(frozen=True)
class Cost:
    """What one run takes of something: bytes (B), seconds (s), or a number. `grows`: whether more runs take more."""

    what: str
    each: float
    unit: str
    grows: bool = True

    def cells(self) -> Iterator[str]:
        """The cells of its row: what, one run, a million runs."""
        yield self.what
        yield _shown(self.each, self.unit)
        yield _shown(self.each * (MILLION if self.grows else 1), self.unit)


@click.command()
@click.option("--sequence", default="burst_and_continuous", show_default=True)
@click.option("--amplifier", default="hx2150", show_default=True, type=click.Choice(list(BENCHES)))
def main(sequence: str, amplifier: str) -> None:
    """Make one dry run, and print what a million of them take."""
    with TemporaryDirectory() as scratch:
        costs = list(_costs(sequence, amplifier, Path(scratch)))
    table = Table(title=f"{sequence} of {amplifier}", title_justify="left")
    for heading in ("", "one run", "a million runs"):
        table.add_column(heading, justify="right" if heading else "left")
    for cost in costs:
        table.add_row(*cost.cells())
    Console().print(table)


def _costs(sequence: str, amplifier: str, scratch: Path) -> Iterator[Cost]:
    trial(sequence, amplifier, scratch / "warm")  # what is imported is imported once
    yield Cost("dry run, with its page", _seconds(lambda: trial(sequence, amplifier, scratch / "runs"), 1), "s")
    (run,) = (scratch / "runs").iterdir()
    yield Cost("run folder", _bytes_in(run), "B")
    yield Cost("... of it captures", _bytes_in(run / "captures"), "B")
    yield Cost("files in it", sum(1 for path in run.rglob("*") if path.is_file()), "")
    yield Cost("read in short, for list and index", _seconds(lambda: summary_of(run)), "s")
    task = RunTask(run.name, run)
    result = compute_run(task)
    yield Cost("figures", result.figures, "")
    yield Cost("all figures computed again", _seconds(lambda: compute_run(task)), "s")
    yield Cost("table of results", len(result.table or b""), "B")
    yield Cost("found to be done already", _seconds(lambda: compute_run(replace(task, done=result.inputs))), "s")
    yield from _costs_of_keeping(result, scratch)
    yield Cost("memory of a process that computes", _most_memory(run), "B", grows=False)


def _costs_of_keeping(result: RunResult, scratch: Path) -> Iterator[Cost]:
    """Of the one process that writes the results."""
    kept = Kept(scratch / "results", scratch)
    began = time.perf_counter()
    for number in range(KEPT):
        kept.keep(f"run-{number:08}", result)
    yield Cost("result written to the disk, by the clock", (time.perf_counter() - began) / KEPT, "s")
    kept.finish()
    yield Cost("memory of the process that gives out the work", _bytes_listed(result, scratch / "listed"), "B")


def _bytes_listed(result: RunResult, folder: Path) -> float:
    """What that process holds of a run: its folder, and its row."""
    names = [f"20261124-221003-{number:032}" for number in range(LISTED)]
    for name in names:
        (folder / name).mkdir(parents=True)
        (folder / name / "journal.jsonl").touch()
    return peak_bytes(lambda: (collection_of([folder]), [RunRow.of(name, result) for name in names])) / LISTED


def _seconds(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Of the processor, the least of some turns."""

    def once() -> float:
        began = time.process_time()
        work()
        return time.process_time() - began

    return min(once() for _ in range(repeats))


def _bytes_in(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def _most_memory(run: Path) -> float:
    """Of a process that computes and does nothing else."""
    told = subprocess.run([sys.executable, "-c", _COMPUTING, run], check=True, capture_output=True, text=True).stdout
    return float(told)


def _shown(amount: float, unit: str) -> str:
    match unit:
        case "B":
            return _with_prefix(amount, ("B", "kB", "MB", "GB", "TB"))
        case "s":
            return _time(amount)
    return f"{amount:,.0f}"


def _with_prefix(amount: float, units: tuple[str, ...]) -> str:
    for unit in units[:-1]:
        if amount < 1000.0:
            return f"{amount:.3g} {unit}"
        amount /= 1000.0
    return f"{amount:.3g} {units[-1]}"


def _time(seconds: float) -> str:
    if seconds < 1.0:
        return f"{seconds * 1e3:.3g} ms"
    if seconds < 120.0:
        return f"{seconds:.3g} s"
    return f"{seconds / 3600.0:,.1f} h"


if __name__ == "__main__":
    main()
