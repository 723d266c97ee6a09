"""`python -m benchmarks.predictions --draws 100 --seed 1 --like hx2150`.

Each draw is an amplifier around a shipped one on a bench whose instruments have errors of their own. It is run dry into
three loads and fitted to two of them; the third and lowest is predicted, and the prediction is held against what was
true there. Benches are of four kinds in turn: of 12 and of 8 bits, tidy and untidy. Seeds below 10 000 were used while
predictions were written.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from statistics import median

import click

# Before numpy is there: small matrices, and one thread for each of many processes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from rich.console import Console
from rich.table import Table

from benchctl.cli.options import spread_options
from benchctl.spread.spread import Failure
from benchmarks.fits.drawing import BENCHES_DRAWN
from benchmarks.fits.judging import DECIDES, interval
from benchmarks.predictions.trial import LOADS, Judged, Outcome, Task, trial
from benchmarks.spreading import campaign, in_own_folder, performed


@click.command()
@click.option("--draws", default=20, show_default=True, help="How many, of each amplifier.")
@click.option("--seed", default=1, show_default=True, help="Of the first; each further one has the next.")
@click.option(
    "--like", "bases", multiple=True, type=click.Choice(list(LOADS)), help="Shipped amplifier to draw around; else all."
)
@click.option("--keep", type=click.Path(path_type=Path), help="Folder of outcomes, to go on with later.")
@click.option("--by-bench", is_flag=True, help="Print a table for each kind of bench too.")
@spread_options
def main(  # noqa: PLR0917 - click gives each by its name
    draws: int,
    seed: int,
    bases: tuple[str, ...],
    keep: Path | None,
    by_bench: bool,
    workers: int | None,
    scheduler: str,
) -> None:
    """Draw, run, fit, predict, and print how often the truth lies within U."""
    console = Console(width=140)
    with campaign(workers, scheduler) as spread:
        for base in bases or tuple(LOADS):
            tasks = [Task(base, number, keep) for number in range(seed, seed + draws)]
            found = list(performed(spread, in_own_folder(trial), tasks, base))
            outcomes = [result for _, result in found if isinstance(result, Outcome)]
            title = f"{base}, {LOADS[base][-1]:g} ohm, seeds {seed} to {seed + draws - 1}"
            console.print(table_of(outcomes, title))
            for bench in BENCHES_DRAWN if by_bench else ():
                console.print(table_of([each for each in outcomes if each.bench == bench], f"{title}, {bench}"))
            for line in remarks(found):
                console.print(line, soft_wrap=True)


def table_of(outcomes: Sequence[Outcome], title: str) -> Table:
    """A row for each figure."""
    table = Table(title=title)
    for heading in (
        "figure",
        "predicted",
        "inside U",
        f"{DECIDES:.0%} of that",
        "median U",
        "median error",
        "rms error",
        "worst",
    ):
        table.add_column(heading, justify="left" if heading == "figure" else "right")
    each = [one for outcome in outcomes for one in outcome.judged]
    for name in dict.fromkeys(_row_of(one) for one in each):
        table.add_row(name, *_cells([one for one in each if _row_of(one) == name]))
    if each:
        table.add_row("all", *_cells(each))
    return table


def _row_of(one: Judged) -> str:
    cycles = one.predicted.cycles
    return one.predicted.name.replace("_", " ") + (f", {cycles} cycles" if cycles else "")


def _cells(each: Sequence[Judged]) -> tuple[str, ...]:
    inside = sum(abs(one.off) <= 1.0 for one in each)
    low, high = interval(inside, len(each))
    errors = [one.error for one in each]
    spread = (sum(error**2 for error in errors) / len(errors)) ** 0.5
    widths = [one.predicted.expanded_uncertainty / abs(one.predicted.value) for one in each]
    return (
        str(len(each)),
        f"{inside / len(each):.1%}",
        f"{low:.1%} to {high:.1%}",
        f"{median(widths):.2%}",
        f"{median(errors):+.2%}",
        f"{spread:.2%}",
        f"{max(abs(one.off) for one in each):.2f} U",
    )


def remarks(found: Iterable[tuple[Task, Outcome | Failure]]) -> Iterable[str]:
    """Draws of which nothing was predicted."""
    for task, result in found:
        if isinstance(result, Failure):
            yield f"seed {task.seed}: {result.why}"
        elif result.refused:
            yield f"seed {task.seed}: refused: {'; '.join(result.refused)}"


if __name__ == "__main__":
    main()
