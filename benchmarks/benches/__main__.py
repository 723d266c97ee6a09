"""The long campaign: `python -m benchmarks.benches --runs 300`."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence

import click
from rich.console import Console

from benchctl.cli.options import spread_options
from benchctl.spread.spread import Failure
from benchmarks.benches.trial import Trial, trial
from benchmarks.spreading import campaign, in_own_folder, performed


@click.command()
@click.option("--runs", default=300, show_default=True, help="How many benches, each with an amplifier.")
@click.option("--seed", default=0, show_default=True, help="Of the first; each further one has the next.")
@click.option("--all", "tells_all", is_flag=True, help="Tell of each run, not only of those that went otherwise.")
@spread_options
def main(runs: int, seed: int, tells_all: bool, workers: int | None, scheduler: str) -> None:
    """Draw benches and amplifiers, run each dry, hold verdicts, stops and refusals against the truth, and print what
    was not as promised."""
    console = Console(markup=False, highlight=False)
    with campaign(workers, scheduler) as spread:
        ended = performed(spread, in_own_folder(trial), range(seed, seed + runs), "running dry")
        done = [_not_performed(number, each) if isinstance(each, Failure) else each for number, each in ended]
    for one in done:
        if tells_all or one.violations:
            console.print("\n".join(_lines(one)), soft_wrap=True)
    console.print("\n".join(_sums(done)), soft_wrap=True)
    sys.exit(1 if any(one.violations for one in done) else 0)


def _not_performed(seed: int, failure: Failure) -> Trial:
    return Trial(seed, "", exit_code=-1, ending="not performed", violations=(failure.details or failure.why,))


def _lines(one: Trial) -> list[str]:
    told = [f"seed {one.seed}: {one.words}", f"  exit code {one.exit_code}: {one.ending}"]
    told += [f"  refused: {hazard}" for hazard in one.refused]
    told += [f"  no figures: {reason}" for reason in one.unmeasured]
    return told + [f"  NOT AS PROMISED: {violation}" for violation in one.violations]


def _sums(done: Sequence[Trial]) -> list[str]:
    """How many did what; and of which figures the truth lies outside more often than 1 in 20."""
    known: Counter[str] = sum((one.held.known for one in done), Counter())
    missed: Counter[str] = sum((one.held.missed for one in done), Counter())
    verdicts = Counter(verdict for one in done for verdict in one.verdicts)
    often = [f"{name} {missed[name]} of {known[name]}" for name in sorted(known) if missed[name] > known[name] / 20]
    return [
        f"{len(done)} benches: {sum(bool(one.refused) for one in done)} refused, "
        f"{sum(bool(one.unmeasured) for one in done)} with steps that gave no figures, "
        f"{sum(bool(one.violations) for one in done)} not as promised",
        f"verdicts: {', '.join(f'{count} {name}' for name, count in sorted(verdicts.items()))}",
        f"{known.total()} figures with a known truth, {missed.total()} of them outside their uncertainty"
        + (f"; more often than 1 in 20: {', '.join(often)}" if often else ""),
    ]


if __name__ == "__main__":
    main()
