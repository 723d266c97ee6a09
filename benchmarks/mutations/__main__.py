"""The command: `python -m benchmarks.mutations`."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from benchmarks.mutations.campaign import TARGETS, Trial, changes_in, trials
from benchmarks.mutations.trial import Fate

# The part of the changes that must be noticed.
WANTED = 0.9


@click.command()
@click.option("--module", "modules", multiple=True, help="Only modules whose name ends so, such as `guard.limits`.")
@click.option("--jobs", default=2, show_default=True, help="How many changes are tried at a time.")
def main(modules: tuple[str, ...], jobs: int) -> None:
    """Make one small change after the other in the modules on which safety and verdicts depend, and run their tests.

    Prints each change that no test notices, and for each module how many are. Works on copies of the checkout. The
    score is the part that is noticed or judged harmless.
    """
    console = Console()
    chosen = [target for target in TARGETS if not modules or target.module.endswith(modules)]
    if not chosen:
        raise click.UsageError(f"no module ends so; there are {', '.join(target.module for target in TARGETS)}")
    done: list[Trial] = []
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with tempfile.TemporaryDirectory() as folder, Progress(*columns, console=console) as progress:
        task = progress.add_task("changes", total=sum(len(changes_in(target)) for target in chosen))
        for trial in trials(chosen, Path(folder), jobs):
            done.append(trial)
            _say(progress.console, trial)
            progress.advance(task)
    console.print(scores(done))
    sys.exit(0 if _score(done) >= WANTED else 1)


def _say(console: Console, trial: Trial) -> None:
    """Print it at once, because a campaign is long and may be interrupted."""
    if not trial.counts_as_noticed:
        words = f"not noticed: {trial.target.path}:{trial.change.line}: {trial.change.what}"
        console.print(words, style="red", markup=False, highlight=False, soft_wrap=True)


def scores(done: Sequence[Trial]) -> Table:
    """A row a module, and one for all."""
    caption = "Hung: noticed by tests that no longer end. Judged: harmless, for the reason in judged.yaml."
    table = Table(title="Changes that a test notices", title_justify="left", caption=caption, caption_justify="left")
    table.add_column("module", no_wrap=True)
    for name in ("changes", "noticed", "hung", "judged", "not noticed", "score"):
        table.add_column(name, justify="right")
    for module in [*dict.fromkeys(trial.target.module for trial in done), ""]:
        of_it = [trial for trial in done if module in {"", trial.target.module}]
        table.add_row(
            module.removeprefix("benchctl.") or "all", *_counts(of_it), f"{_score(of_it):.0%}", end_section=not module
        )
    return table


def _counts(done: Sequence[Trial]) -> tuple[str, ...]:
    fates = [trial.fate for trial in done]
    harmless = sum(trial.fate is Fate.UNNOTICED and bool(trial.why_harmless) for trial in done)
    unnoticed = fates.count(Fate.UNNOTICED) - harmless
    return tuple(map(str, (len(done), fates.count(Fate.NOTICED), fates.count(Fate.HUNG), harmless, unnoticed)))


def _score(done: Sequence[Trial]) -> float:
    return sum(trial.counts_as_noticed for trial in done) / len(done) if done else 0.0


if __name__ == "__main__":
    main()
