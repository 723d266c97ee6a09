"""The command: `python -m benchmarks.contradictions`."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import click
from rich.console import Console
from rich.progress import track
from rich.table import Table

from benchmarks.contradictions.trial import Ended, cases, trial


@click.command()
def main() -> None:
    """Make one instrument after the other wrong by a factor, and print how each run noticed."""
    console = Console()
    with tempfile.TemporaryDirectory() as scratch:
        done = [trial(case, Path(scratch)) for case in track(list(cases()), "running dry", console=console)]
    console.print(_table(done))
    missed = sum(any(each.violations()) for each in done)
    console.print(f"{len(done)} runs, {missed} not as promised")
    sys.exit(1 if missed else 0)


def _table(done: list[Ended]) -> Table:
    table = Table("what is wrong", "exit", "driven hard", "verdicts on it", "said, or not as promised")
    for each in done:
        remarks = list(each.violations()) or [each.said or "nothing: no verdict rests on it"]
        hard, verdicts = "yes" if each.was_driven_hard else "no", ", ".join(sorted(set(each.verdicts)))
        table.add_row(each.case.name, str(each.exit_code), hard, verdicts, "\n".join(remarks))
    return table


if __name__ == "__main__":
    main()
