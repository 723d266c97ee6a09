"""The long form: `python -m benchmarks.sequences`, and on a bench of your choice with `--bench no_thermometer`."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from itertools import product

import click
from rich.console import Console
from rich.table import Table

from benchctl import library
from benchctl.cli.options import spread_options
from benchctl.documents.reader import load_sequence
from benchctl.spread.spread import Failure
from benchmarks.sequences.trials import BENCHES, PlannedRun, Trial, long_trial_of, trial_of
from benchmarks.spreading import campaign, in_own_folder, performed


@click.command()
@click.option("--sequence", "sequences", multiple=True, help="Only this one; may be given again.")
@click.option("--amplifier", "amplifiers", multiple=True, help="Only this one; may be given again.")
@click.option("--bench", "benches", multiple=True, help="This bench for every amplifier; may be given again.")
@click.option("--long", "is_long", is_flag=True, help="Keep waits of hours at their length.")
@spread_options
def main(  # noqa: PLR0917 - click gives each by its name
    sequences: Sequence[str],
    amplifiers: Sequence[str],
    benches: Sequence[str],
    is_long: bool,
    workers: int | None,
    scheduler: str,
) -> None:
    """Run every shipped sequence on every shipped amplifier in virtual time, and print what was not as promised.

    Without `--bench`, each amplifier gets the bench that suits it.
    """
    console = Console()
    runs = list(product(benches or [""], sequences or unbridged(), amplifiers or BENCHES))
    with campaign(workers, scheduler) as spread:
        ended = performed(spread, in_own_folder(long_trial_of if is_long else trial_of), runs, "running dry")
        done = [_not_performed(run, each) if isinstance(each, Failure) else each for run, each in ended]
    console.print(_table(done))
    console.print(_missed(done))
    refused = sum(each.is_refused_rightly for each in done)
    wrong = sum(any(each.violations()) for each in done)
    console.print(f"{len(done)} runs: {len(done) - refused - wrong} finished, {refused} refused rightly, {wrong} wrong")
    sys.exit(1 if wrong else 0)


def _not_performed(run: PlannedRun, failure: Failure) -> Trial:
    bench, sequence, amplifier = run
    return Trial(sequence, amplifier, exit_code=-1, reason=failure.details or failure.why, is_safe=False, bench=bench)


def _table(done: Sequence[Trial]) -> Table:
    table = Table(
        "bench",
        "sequence",
        "amplifier",
        "exit",
        "foreseen",
        "taken",
        "verdicts; not as promised; steps without figures",
    )
    for each in done:
        lacks = [f"refused rightly, it lacks: {', '.join(each.lacks)}"] if each.is_refused_rightly else []
        verdicts = [each.verdicts] if each.verdicts else []
        remarks = [*lacks, *verdicts, *each.violations(), *each.unmeasured]
        spans = (f"{seconds:.1f} s" for seconds in (each.foreseen_s, each.taken_s))
        table.add_row(each.bench, each.sequence, each.amplifier, str(each.exit_code), *spans, "\n".join(remarks))
    return table


def _missed(done: Sequence[Trial]) -> str:
    """How many figures have a known true value, and which lie outside their uncertainty more often than 1 in 20."""
    known: Counter[str] = sum((each.held.known for each in done), Counter())
    missed: Counter[str] = sum((each.held.missed for each in done), Counter())
    often = [f"{name} {missed[name]} of {known[name]}" for name in sorted(known) if missed[name] > known[name] / 20]
    told = f"; more often than 1 in 20: {', '.join(often)}" if often else ""
    return f"{known.total()} figures with a known truth, {missed.total()} of them outside their uncertainty{told}"


def unbridged() -> list[str]:
    """The shipped sequences that any bench can carry; those that bridge outputs need one that is wired for it."""
    return [name for name in library.shipped("sequences") if load_sequence(name).bridged is None]


if __name__ == "__main__":
    main()
