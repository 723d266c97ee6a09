"""The long form: `python -m benchmarks.forms`, one dry run for each form of instrument."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table

from benchmarks.forms import generators, loads, multimeters, oscilloscopes, supplies, thermometers
from benchmarks.forms.trials import Form, try_form
from benchmarks.sequences.trials import Trial


@click.command()
@click.option("--sequence", default="quick_check", show_default=True, help="A shipped sequence.")
@click.option("--form", "only", multiple=True, help="Only this form; may be given again.")
@click.option("--vices", default="", help="Further words of its simulation: 'answers_after: 300 ms'.")
def main(sequence: str, only: tuple[str, ...], vices: str) -> None:
    """Run a sequence dry on a bench with each form of instrument, and print what was not as promised."""
    table = Table("form", "driver", "exit", "foreseen", "taken", "figures off", "not as promised")
    wrong = 0
    forms: list[Form] = [
        *generators.FORMS,
        *supplies.FORMS,
        *oscilloscopes.FORMS,
        *loads.FORMS,
        *thermometers.FORMS,
        *multimeters.FORMS,
    ]
    for form in forms:
        if only and form.speaks not in only:
            continue
        with tempfile.TemporaryDirectory() as scratch:
            done = try_form(form, Path(scratch), sequence=sequence, vices=vices)
        violations = list(done.violations())
        wrong += bool(violations)
        times = (f"{seconds:.1f} s" for seconds in (done.foreseen_s, done.taken_s))
        table.add_row(form.speaks, form.driver, str(done.exit_code), *times, _off(done), "\n".join(violations))
    Console().print(table)
    sys.exit(1 if wrong else 0)


def _off(done: Trial) -> str:
    """How many figures miss their true value by more than their uncertainty, of all whose true value is known."""
    return f"{done.held.missed.total()} of {done.held.known.total()}"


if __name__ == "__main__":
    main()
