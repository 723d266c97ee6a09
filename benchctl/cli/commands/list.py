"""benchctl list: the runs in a folder."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchctl.cli.choosing import chosen, looked_into
from benchctl.cli.options import json_option

if TYPE_CHECKING:
    from benchctl.archive.collection.filters import Filters


@click.command(
    "list",
    epilog="""\b
Examples:
  benchctl list
  benchctl list --serial 17-0042
  benchctl list /srv/runs --amplifier hx2150 --from 2026-11 --verdict fails --newest 20""",
)
@click.argument("folder", type=click.Path(path_type=Path), metavar="[FOLDER]", required=False)
@chosen
@click.option("--newest", type=click.IntRange(min=1), metavar="NUMBER", help="Only so many, the newest ones.")
@json_option
def list_(folder: Path | None, filters: Filters, newest: int | None, as_json: bool) -> int:
    """List the runs in a folder, the newest last.

    FOLDER is runs, unless the variable BENCHCTL_RUNS names another one; folders in it are looked into too. The verdict
    is that of the run's page, as far as journal and figures.csv tell; 'benchctl verify' also looks for changes in
    everything else. Folders that are damaged, half written or no runs at all are named on standard error.
    """
    from benchctl.cli.shown.folders.runs import as_data, others_as_data, remarks, runs_in_columns  # noqa: PLC0415

    runs = looked_into(folder)
    kept = filters.keep(runs.runs)[-(newest or 0) :]
    if as_json:
        click.echo(json.dumps({"runs": [as_data(run) for run in kept], "not_read": others_as_data(runs)}, indent=2))
        return 0
    click.echo(runs_in_columns(kept, runs.root) if kept else f"There is no such run in {runs.root}.")
    for line in remarks(runs, kept):
        click.echo(line, err=True)
    return 0
