"""The long campaign: `python -m benchmarks.coverage --benches 300`."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

import click
from rich.console import Console
from rich.progress import MofNCompleteColumn, Progress, TimeRemainingColumn

from benchmarks.coverage.campaign import Judged, judged_figures
from benchmarks.coverage.statistics import by_name, table_of


@click.command()
@click.option("--benches", default=300, show_default=True, help="How many simulated benches, each with its own errors.")
@click.option("--first-seed", default=1, show_default=True)
@click.option("--bench", default="workshop", show_default=True, help="A shipped bench file that states a seed.")
@click.option("--amplifier", default="hx2150", show_default=True, help="A shipped amplifier of 12 V for 4 ohm.")
@click.option("--workers", default=2, show_default=True, help="Processes at work at once.")
def main(benches: int, first_seed: int, bench: str, amplifier: str, workers: int) -> None:
    """Run the benches, compare each figure with its true value, and print the result."""
    console = Console()
    judged: list[Judged] = []
    with Progress(
        *Progress.get_default_columns()[:2], MofNCompleteColumn(), TimeRemainingColumn(), console=console
    ) as bar:
        task = bar.add_task("benches", total=benches)
        for figures in _campaign(range(first_seed, first_seed + benches), bench, amplifier, workers):
            judged += figures
            bar.advance(task)
    judged.sort(key=lambda figure: figure.seed)
    console.print(table_of(by_name(judged), benches))


def _campaign(seeds: range, bench: str, amplifier: str, workers: int) -> Iterator[list[Judged]]:
    """The figures of each bench, as soon as they are ready."""
    with ProcessPoolExecutor(workers) as pool:
        for ready in as_completed([pool.submit(_one, seed, bench, amplifier) for seed in seeds]):
            yield ready.result()


def _one(seed: int, bench: str, amplifier: str) -> list[Judged]:
    with tempfile.TemporaryDirectory() as folder:
        return judged_figures(seed, bench, amplifier, Path(folder))


if __name__ == "__main__":
    main()
