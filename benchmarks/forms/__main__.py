"""The long form: `python -m benchmarks.forms`, one dry run for each form of instrument."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table

from benchmarks.forms.supplies import FORMS
from benchmarks.forms.trials import try_form


@click.command()
@click.option("--sequence", default="quick_check", show_default=True, help="A shipped sequence.")
@click.option("--form", "only", multiple=True, help="Only this form; may be given again.")
@click.option("--vices", default="", help="Further words of its simulation: 'answers_after: 300 ms'.")
def main(sequence: str, only: tuple[str, ...], vices: str) -> None:
    """Run a sequence dry on a bench with each form of supply, and print what was not as promised."""
    table = Table("form", "driver", "exit", "foreseen", "taken", "not as promised")
    wrong = 0
    for form in FORMS:
        if only and form.speaks not in only:
            continue
        with tempfile.TemporaryDirectory() as scratch:
            done = try_form(form, Path(scratch), sequence=sequence, vices=vices)
        violations = list(done.violations())
        wrong += bool(violations)
        times = (f"{seconds:.1f} s" for seconds in (done.foreseen_s, done.taken_s))
        table.add_row(form.speaks, form.driver, str(done.exit_code), *times, "\n".join(violations))
    Console().print(table)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
