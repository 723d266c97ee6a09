"""The long campaign: `python -m benchmarks.benches --runs 300`."""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import click
from rich.console import Console
from rich.progress import track

from benchmarks.benches.trial import Trial, trial


@click.command()
@click.option("--runs", default=300, show_default=True, help="How many benches, each with an amplifier.")
@click.option("--seed", default=0, show_default=True, help="Of the first; each further one has the next.")
@click.option("--workers", default=2, show_default=True, help="Processes at work at once.")
@click.option("--all", "tells_all", is_flag=True, help="Tell of each run, not only of those that went otherwise.")
def main(runs: int, seed: int, workers: int, tells_all: bool) -> None:
    """Draw benches and amplifiers, run each dry, hold verdicts, stops and refusals against the truth, and print what
    was not as promised."""
    console = Console(markup=False, highlight=False)
    with tempfile.TemporaryDirectory() as scratch, ProcessPoolExecutor(workers) as pool:
        each = pool.map(partial(trial, out=Path(scratch)), range(seed, seed + runs))
        done = list(track(each, "running dry", total=runs, console=console))
    for one in done:
        if tells_all or one.violations:
            console.print("\n".join(_lines(one)), soft_wrap=True)
    console.print("\n".join(_sums(done)), soft_wrap=True)
    sys.exit(1 if any(one.violations for one in done) else 0)


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
