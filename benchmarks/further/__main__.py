"""The long form: `python -m benchmarks.further`."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import click

from benchmarks.further.trial import CASES, Outcome, tried

WITHIN = 1.5


@click.command()
@click.option("--only", default="", help="Only cases with this quantity or amplifier.")
def main(only: str) -> None:
    """Run each case dry: print the uncertainty that was promised, and the one that the second run reaches."""
    bad = 0
    for number, case in enumerate(CASES):
        if only and only not in (case.quantity, case.amplifier):
            continue
        with tempfile.TemporaryDirectory() as folder:
            outcome = tried(case, Path(folder) / str(number))
        click.echo(_line(outcome))
        bad += outcome.ratio is not None and not 1.0 / WITHIN < outcome.ratio < WITHIN
    sys.exit(1 if bad else 0)


def _line(outcome: Outcome) -> str:
    case = outcome.case
    what = f"{case.amplifier} on {case.bench}, {case.quantity} after {', '.join(each.kind for each in case.first)}"
    if outcome.reached is None:
        return f"{what}: {outcome.advice.why}"
    best = outcome.advice.options[0]
    reached = outcome.reached
    found = reached.untold or f"reached {reached.value:.4g} ± {reached.expanded_uncertainty:.2g} {reached.unit}"
    ratio = "" if outcome.ratio is None else f", {outcome.ratio:.2f} times"
    return f"{what}: {best.words}, promised ± {outcome.promised_u(reached.value):.2g}; {found}{ratio}"


main()
