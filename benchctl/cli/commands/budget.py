"""benchctl budget: what a figure's uncertainty is made of."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchctl.cli.completing import complete_figure
from benchctl.cli.options import json_option, of_run_folder
from benchctl.errors import UsageError

if TYPE_CHECKING:
    from benchctl.archive.budgets import FigureBudget


@click.command(
    epilog="""\b
Examples:
  benchctl budget runs/20261124-221003-quick-check-hx-2150 continuous_power --channel A
  benchctl budget runs/20261124-221003-quick-check-hx-2150 burst_power_clean --channel A --cycles 8"""
)
@of_run_folder()
@click.argument("figure", metavar="FIGURE", shell_complete=complete_figure)
@click.option("--channel", default="", metavar="CHANNEL", help="The amplifier's channel, or 'total'; all if left out.")
@click.option("--cycles", type=int, default=None, help="Length of the bursts; all if left out.")
@click.option("--step", default="", metavar="STEP", help="A part of the step's name, such as its number.")
@json_option
def budget(run_folder: Path, figure: str, channel: str, cycles: int | None, step: str, as_json: bool) -> int:  # noqa: PLR0917
    """Show what a figure's uncertainty is made of, the largest part first.

    Each line is one cause: its standard uncertainty in the figure's unit, and its share of the variance. The squares
    add up to the square of the combined standard uncertainty u; the figure's U is k times u. What several errors have
    in common, as two resistors that were measured with one meter, stands in a line of its own.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.archive.budgets import Asked, budgets_of, names_in  # noqa: PLC0415
    from benchctl.cli.shown.budget import budgets_in_words  # noqa: PLC0415

    found = budgets_of(run_folder, Asked(figure, channel, cycles, step))
    if not found:
        raise UsageError(
            f"the run has no such figure '{figure}'; it has {', '.join(names_in(run_folder)) or 'no figures at all'}"
        )
    if as_json:
        click.echo(json.dumps([_as_data(each) for each in found], indent=2))
    else:
        click.echo(budgets_in_words(found))
    return 0


def _as_data(found: FigureBudget) -> dict[str, object]:
    figure = found.figure
    return {
        "step": found.step,
        "conditions": str(found.conditions),
        "figure": figure.name,
        "channel": figure.channel,
        "burst_cycles": figure.burst_cycles,
        "value": figure.value,
        "unit": figure.unit,
        "expanded_uncertainty": figure.expanded_uncertainty,
        "coverage_factor": figure.coverage_factor,
        "contributions": [{"cause": part.cause, "standard_uncertainty": part.standard} for part in found.parts],
        "why_not": found.why_not,
    }
