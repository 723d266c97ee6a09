"""The long campaign: `python -m benchmarks.coverage --draws 1000`."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import click
from rich.console import Console

from benchctl.cli.options import spread_options
from benchctl.spread.spread import Failure, Spread
from benchmarks.coverage.campaign import AMPLIFIERS, BENCHES, PAIRS, Pair
from benchmarks.coverage.job import Job, judged_figures_of
from benchmarks.coverage.kept import Kept
from benchmarks.coverage.statistics import by_name, limits_of, table_of
from benchmarks.spreading import campaign, in_own_folder, performed


@click.command()
@click.option("--draws", default=1000, show_default=True, help="Simulated benches for each pair, each with own errors.")
@click.option("--first-seed", default=1, show_default=True, help="Of the first bench; each further one has the next.")
@click.option("--bench", "benches", multiple=True, help="Benches, each with every amplifier; else each with one.")
@click.option("--amplifier", "amplifiers", multiple=True, help="Amplifiers, each on every bench; else each on one.")
@click.option("--tidy", is_flag=True, help="With instruments that have errors, and nothing else that is not ideal.")
@click.option("--keep", type=click.Path(path_type=Path), help="Folder of the results, to go on with later.")
@spread_options
def main(  # noqa: PLR0917 - click gives each by its name
    draws: int,
    first_seed: int,
    benches: Sequence[str],
    amplifiers: Sequence[str],
    tidy: bool,
    keep: Path | None,
    workers: int | None,
    scheduler: str,
) -> None:
    """Run benches, compare each figure with its true value, and print a table for each bench and amplifier, and one
    for all of them."""
    console = Console(width=120)
    pairs = [replace(pair, is_untidy=not tidy) for pair in _pairs(benches, amplifiers)]
    with campaign(workers, scheduler) as spread, _folder(keep) as folder:
        kept = Kept(folder)
        seeds = range(first_seed, first_seed + draws)
        done = {pair: kept.seeds(pair) for pair in pairs}
        left = [(pair, seed) for seed in seeds for pair in pairs if seed not in done[pair]]
        failed = _run(left, kept, spread)
        found = {pair: kept.of(pair) for pair in pairs}
    for pair, judged in found.items():
        rows = by_name(judged)
        console.print(table_of(rows, str(pair)))
        for line in limits_of(rows):
            console.print(line)
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


def _run(jobs: Sequence[Job], kept: Kept, spread: Spread) -> list[tuple[Pair, int, str]]:
    """Run what is not kept yet; returns the runs that ended early, with the reason."""
    failed: list[tuple[Pair, int, str]] = []
    for (pair, seed), judged in performed(spread, in_own_folder(judged_figures_of), jobs, "benches"):
        if isinstance(judged, Failure):
            failed.append((pair, seed, judged.why))
        else:
            kept.add(pair, seed, judged)
    return failed


if __name__ == "__main__":
    main()
