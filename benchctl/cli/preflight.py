"""benchctl preflight: what a run would do, and what speaks against it."""

from __future__ import annotations

import json
from dataclasses import asdict

import click
from rich.table import Table

from benchctl.cli.options import json_option, of_a_run, unattended_option
from benchctl.cli.words import console_for
from benchctl.errors import PreflightRefused
from benchctl.launch.run import Documents
from benchctl.quantity import render
from benchctl.runner.outlook import Forecast
from benchctl.runner.plan import expand
from benchctl.runner.preflight import Preflight
from benchctl.runner.preflight import preflight as look_ahead


@click.command(epilog="Example:  benchctl preflight burst_and_continuous --bench workshop --amplifier hx2150")
@of_a_run
@unattended_option
@json_option
def preflight(documents: Documents, unattended: bool, as_json: bool) -> int:
    """Show what a run would do, and every hazard.

    Lists the expanded steps with the time, power and current to expect. Nothing is touched. A hazard is a refusal:
    `run` makes the same checks first and does not begin until they pass.
    """
    files = documents.load()
    checked = look_ahead(files, expand(files.sequence, files.amplifier, files.bench), unattended=unattended)
    if as_json:
        click.echo(json.dumps(_as_data(checked), indent=2))
        return PreflightRefused.exit_code if checked.hazards else 0
    console_for().print(steps_table(checked))
    click.echo(time_in_words(checked))
    checked.refuse_hazards(accepted="they are shown below")
    for warning in checked.warnings:
        click.echo(f"Warning: {warning}")
    click.echo("Preflight passes, but for the warnings." if checked.warnings else "Preflight passes.")
    return 0


def steps_table(checked: Preflight) -> Table:
    """A row a step."""
    table = Table(title="Steps", title_justify="left")
    table.add_column("step")
    for name in ("time", "into each load", "supply current", "energy, each load"):
        table.add_column(name, justify="right")
    for planned, forecast in zip(checked.plan, checked.forecasts, strict=True):
        table.add_row(planned.label, *_cells(forecast))
    return table


def _cells(forecast: Forecast) -> tuple[str, str, str, str]:
    time = f"up to {in_minutes(forecast.at_most_s)}" if forecast.at_most_s else in_minutes(forecast.duration_s)
    if not forecast.load_w:
        return time, "", "", ""
    return (
        time,
        render(forecast.load_w, "W", digits=3),
        render(forecast.supply_a, "A", digits=3),
        render(forecast.energy_j, "J", digits=3),
    )


def in_minutes(seconds: float) -> str:
    """A length of time as a person says it: 8 s, 2:05 min, 1:40 h."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes}:{rest:02d} min"
    return f"{minutes // 60}:{minutes % 60:02d} h"


def time_in_words(checked: Preflight) -> str:
    """How long the run takes, as far as anybody knows beforehand."""
    if checked.at_most_s == checked.duration_s:
        return f"About {in_minutes(checked.duration_s)}."
    at_most = in_minutes(checked.at_most_s)
    return f"About {in_minutes(checked.duration_s)} and the time to cool or settle, in all at most {at_most}."


def _as_data(checked: Preflight) -> dict[str, object]:
    return {
        "steps": [
            {"step": planned.label, **asdict(forecast)}
            for planned, forecast in zip(checked.plan, checked.forecasts, strict=True)
        ],
        "duration_s": checked.duration_s,
        "at_most_s": checked.at_most_s,
        "hazards": list(checked.hazards),
        "warnings": list(checked.warnings),
    }
