"""The command: `python -m benchmarks.folder_fuzz --times 1000`."""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from benchmarks.folder_fuzz.folders import make_folders
from benchmarks.folder_fuzz.trial import Trial, trial

_OUTCOMES = ("noticed", "harmless", "forged with its hashes, not noticed", "not as promised")


@click.command()
@click.option("--times", default=1000, show_default=True, help="How many.")
@click.option("--seed", default=0, show_default=True, help="Of the first change; each has its own.")
def main(times: int, seed: int) -> None:
    """Change one thing in a run folder at random, and read it with verify, report and resume."""
    console = Console()
    with tempfile.TemporaryDirectory() as scratch:
        done = _perform(console, range(seed, seed + times), Path(scratch))
    console.print(_table(done))
    wrong = sum(bool(each.violations) for each in done)
    console.print(f"{len(done)} changes, {wrong} not as promised")
    sys.exit(1 if wrong else 0)


def _perform(console: Console, seeds: Sequence[int], scratch: Path) -> list[Trial]:
    folders = make_folders(scratch).all()
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    done: list[Trial] = []
    with Progress(*columns, console=console) as progress:
        for seed in progress.track(seeds, description="folders with a change"):
            done.append(trial(seed, folders[seed % len(folders)], scratch))
            if done[-1].violations:
                _tell(progress.console, done[-1])
    return done


def _table(done: Sequence[Trial]) -> Table:
    counts = Counter((each.change.partition(":")[0].partition("/")[0], each.outcome) for each in done)
    table = Table("changed", *_OUTCOMES)
    for what in sorted({what for what, _ in counts}):
        table.add_row(what, *(str(counts[what, outcome]) for outcome in _OUTCOMES))
    return table


def _tell(console: Console, each: Trial) -> None:
    console.print(f"[bold red]seed {each.seed}[/] {each.folder}", markup=True)
    for line in (each.change, *each.violations):
        console.print(f"    {line}", markup=False, highlight=False, soft_wrap=True)


if __name__ == "__main__":
    main()
