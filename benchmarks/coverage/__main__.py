"""The long campaign: `python -m benchmarks.coverage --draws 1000`."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import click
from rich.console import Console
from rich.progress import MofNCompleteColumn, Progress, TimeRemainingColumn

from benchmarks.coverage.campaign import AMPLIFIERS, BENCHES, PAIRS, Judged, Pair, judged_figures
from benchmarks.coverage.kept import Kept
from benchmarks.coverage.statistics import by_name, table_of

_Job = tuple[Pair, int]


@click.command()
@click.option("--draws", default=1000, show_default=True, help="Simulated benches for each pair, each with own errors.")
@click.option("--first-seed", default=1, show_default=True, help="Of the first bench; each further one has the next.")
@click.option("--bench", "benches", multiple=True, help="Benches, each with every amplifier; else each with one.")
@click.option("--amplifier", "amplifiers", multiple=True, help="Amplifiers, each on every bench; else each on one.")
@click.option("--tidy", is_flag=True, help="With instruments that have errors, and nothing else that is not ideal.")
@click.option("--jobs", default=2, show_default=True, help="Processes at work at once.")
@click.option("--keep", type=click.Path(path_type=Path), help="Folder of the results, to go on with later.")
def main(  # noqa: PLR0917 - click gives each by its name
    draws: int,
    first_seed: int,
    benches: Sequence[str],
    amplifiers: Sequence[str],
    tidy: bool,
    jobs: int,
    keep: Path | None,
) -> None:
    """Run benches, compare each figure with its true value, and print a table for each bench and amplifier, and one
    for all of them."""
    console = Console(width=120)
    pairs = [replace(pair, is_untidy=not tidy) for pair in _pairs(benches, amplifiers)]
    with _folder(keep) as folder:
        kept = Kept(folder)
        seeds = range(first_seed, first_seed + draws)
        done = {pair: kept.seeds(pair) for pair in pairs}
        left = [(pair, seed) for seed in seeds for pair in pairs if seed not in done[pair]]
        failed = _run(left, kept, jobs)
        found = {pair: kept.of(pair) for pair in pairs}
    for pair, judged in found.items():
        console.print(table_of(by_name(judged), str(pair)))
    if len(pairs) > 1:
        apart = (replace(each, seed=pair.seed_of(each.seed)) for pair, judged in found.items() for each in judged)
        console.print(table_of(by_name(apart), "all of them"))
    for pair, seed, reason in failed:
        console.print(f"{pair}, seed {seed}: {reason}", soft_wrap=True)
    sys.exit(1 if failed else 0)


def _pairs(benches: Sequence[str], amplifiers: Sequence[str]) -> list[Pair]:
    """Those of the short form; or each of some benches with each of some amplifiers."""
    if not benches and not amplifiers:
        return list(PAIRS)
    return [Pair(bench, amplifier) for bench in benches or BENCHES for amplifier in amplifiers or AMPLIFIERS]


@contextmanager
def _folder(keep: Path | None) -> Iterator[Path]:
    if keep is not None:
        yield keep
        return
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder)


def _run(jobs: Sequence[_Job], kept: Kept, workers: int) -> list[tuple[Pair, int, str]]:
    """Run what is not kept yet; returns the runs that ended early, with the reason."""
    failed: list[tuple[Pair, int, str]] = []
    columns = (*Progress.get_default_columns()[:2], MofNCompleteColumn(), TimeRemainingColumn())
    with ProcessPoolExecutor(workers) as pool, Progress(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task("benches", total=len(jobs))
        running = {pool.submit(_one, *job): job for job in jobs}
        for ready in as_completed(running):
            pair, seed = running[ready]
            try:
                kept.add(pair, seed, ready.result())
            except RuntimeError as error:
                failed.append((pair, seed, str(error)))
            bar.advance(task)
    return failed


def _one(pair: Pair, seed: int) -> list[Judged]:
    with tempfile.TemporaryDirectory() as folder:
        return judged_figures(seed, pair, Path(folder))


if __name__ == "__main__":
    main()
