"""`python -m benchmarks.fits --draws 500 --sequence burst_and_continuous --seed 1 --like hx2150 --keep FOLDER`.

Draws are on four kinds of bench in turn: of 12 and of 8 bits, tidy and untidy. A seed draws the errors of the bench
too, so take other seeds for each amplifier and sequence, or their outcomes go together.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from statistics import median

import click

# Before numpy is there: small matrices, and one thread for each of many processes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from rich.console import Console

from benchctl.cli.options import spread_options
from benchctl.spread.spread import Failure
from benchmarks.fits.drawing import BENCHES_DRAWN
from benchmarks.fits.judging import inside_of, mark_of, table_of, told_by_name
from benchmarks.fits.trial import Outcome, Task, trial
from benchmarks.spreading import campaign, in_own_folder, performed


@click.command()
@click.option("--draws", default=20, show_default=True, help="How many.")
@click.option(
    "--like", "base", default="hx2150", show_default=True, help="Shipped amplifier that they are drawn around."
)
@click.option("--sequence", default="burst_and_continuous", show_default=True)
@click.option("--seed", default=1, show_default=True, help="Of the first; each further one has the next.")
@click.option("--keep", type=click.Path(path_type=Path), help="Folder of outcomes, to go on with later.")
@click.option("--runs", "keeps_run", is_flag=True, help="Keep run folders too, about 3 MB each.")
@click.option("--refit", "refits", is_flag=True, help="Fit kept runs again, with the fit as it is now.")
@click.option("--by-bench", is_flag=True, help="Print a table for each kind of bench too.")
@spread_options
def main(  # noqa: PLR0917 - click gives each by its name
    draws: int,
    base: str,
    sequence: str,
    seed: int,
    keep: Path | None,
    keeps_run: bool,
    refits: bool,
    by_bench: bool,
    workers: int | None,
    scheduler: str,
) -> None:
    """Draw amplifiers and benches, run each dry, fit it, and print how often each quantity is told and covered.

    The exit code is 1 where U is too narrow beyond chance, or a draw failed."""
    console = Console(width=130)
    keeps = keeps_run or refits
    tasks = [Task(base, sequence, number, keep, keeps, refits) for number in range(seed, seed + draws)]
    with campaign(workers, scheduler) as spread:
        results = list(performed(spread, in_own_folder(trial), tasks, base))
    outcomes = [result for _, result in results if isinstance(result, Outcome)]
    title = f"{base}, {sequence}, seeds {seed} to {seed + draws - 1}"
    for bench in BENCHES_DRAWN if by_bench else ():
        console.print(table_of([each for each in outcomes if each.bench == bench], f"{title}, {bench}"))
    console.print(table_of(outcomes, title))
    for line in _remarks(outcomes):
        console.print(line, soft_wrap=True)
    failed = [(task, result) for task, result in results if isinstance(result, Failure)]
    for task, failure in failed:
        console.print(f"seed {task.seed}: {failure.why}", soft_wrap=True)
    sys.exit(1 if failed or _is_too_narrow(outcomes) else 0)


def _remarks(outcomes: Sequence[Outcome]) -> Iterator[str]:
    for words, seconds in (
        ("dry run", [each.run_s for each in outcomes if each.run_s]),
        ("reading and fit", [each.fit_s for each in outcomes if each.fit_s]),
    ):
        if seconds:
            yield f"{words}: median {median(seconds):.1f} s of one processor, worst {max(seconds):.1f} s"
    for each in outcomes:
        for said in (*each.findings, *filter(None, (each.no_fit,))):
            yield f"seed {each.seed} on {each.bench}: {said}"


def _is_too_narrow(outcomes: Sequence[Outcome]) -> bool:
    for each in told_by_name(outcomes).values():
        told = [one for one in each if one.is_told]
        if told and mark_of(inside_of(told), len(told)) == "TOO NARROW":
            return True
    return False


if __name__ == "__main__":
    main()
