"""The command: `python -m benchmarks.fault_campaign --runs 1000`."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table

from benchctl.cli.options import spread_options
from benchctl.spread.spread import Failure, Spread
from benchmarks.fault_campaign.trial import Trial
from benchmarks.fault_campaign.watched import watched_trial
from benchmarks.spreading import campaign, in_own_folder, performed


@click.command()
@click.option("--runs", default=1000, show_default=True, help="How many.")
@click.option("--seed", default=0, show_default=True, help="Of the first run; each has its own, and can be repeated.")
@click.option("--keep", type=click.Path(path_type=Path, file_okay=False), help="Where run folders with a fault stay.")
@spread_options
def main(runs: int, seed: int, keep: Path | None, workers: int | None, scheduler: str) -> None:
    """Run a short sequence in virtual time with faults of the bench drawn at random, and check how each run ends."""
    console = Console()
    with campaign(workers, scheduler) as spread:
        done = _perform(console, spread, range(seed, seed + runs), keep)
    console.print(_endings(done), _strikes(done))
    wrong = sum(bool(each.violations) for each in done)
    longest = max(done, key=lambda each: each.seconds)
    console.print(
        f"{len(done)} runs, {wrong} not as promised; a step began anew {sum(each.began_anew for each in done)} times; "
        f"{sum(each.seconds for each in done):.0f} s, the longest {longest.seconds:.1f} s (seed {longest.seed})"
    )
    sys.exit(1 if wrong else 0)


def _perform(console: Console, spread: Spread, seeds: Sequence[int], keep: Path | None) -> list[Trial]:
    work = in_own_folder(watched_trial) if keep is None else partial(watched_trial, out=keep.resolve())
    done: list[Trial] = []
    for seed, ended in performed(spread, work, seeds, "runs with faults"):
        trial_of_seed = _not_performed(seed, ended) if isinstance(ended, Failure) else ended
        done.append(trial_of_seed)
        if trial_of_seed.violations:
            _tell(console, trial_of_seed)
    return done


def _not_performed(seed: int, failure: Failure) -> Trial:
    return Trial(seed, (), violations=[failure.details or failure.why])


def _endings(done: Sequence[Trial]) -> Table:
    meanings = {
        0: "finished, every verdict passes",
        1: "finished, a verdict fails or is inconclusive",
        4: "a limit tripped",
        5: "an instrument failed",
    }
    table = Table("exit code", "meaning", "runs", "with an output left on that would not switch off")
    for code, count in sorted(Counter(each.exit_code for each in done).items()):
        stuck = sum(bool(each.left_on) for each in done if each.exit_code == code)
        table.add_row(str(code), meanings.get(code, "-"), str(count), str(stuck))
    return table


def _strikes(done: Sequence[Trial]) -> Table:
    runs: Counter[str] = Counter()
    strikes: Counter[str] = Counter()
    for each in done:
        kinds = Counter({name.split(": ")[1]: 0 for name in each.struck})
        for name, count in each.struck.items():
            kinds[name.split(": ")[1]] += count
        runs.update(kinds.keys())
        strikes.update(kinds)
    table = Table("fault", "runs that it struck", "strikes")
    for kind, count in runs.most_common():
        table.add_row(kind, str(count), str(strikes[kind]))
    return table


def _tell(console: Console, each: Trial) -> None:
    console.print(f"[bold red]seed {each.seed}[/] exit code {each.exit_code}: {each.ending}", markup=True)
    for line in (*each.faults, *each.violations):
        console.print(f"    {line}", markup=False, highlight=False, soft_wrap=True)


if __name__ == "__main__":
    main()
