"""benchctl latest: the newest run's folder."""

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
    epilog="""\b
Examples:
  benchctl latest
  benchctl latest --serial 17-0042 --sequence rated_power --measured"""
)
@click.argument("folder", type=click.Path(path_type=Path), metavar="[FOLDER]", required=False)
@chosen
@json_option
def latest(folder: Path | None, filters: Filters, as_json: bool) -> int:
    """Print the folder of the newest run.

    Of the runs in FOLDER, which is runs unless the variable BENCHCTL_RUNS names another one. Nothing else is printed on
    standard output, so that a script can use it. Exit code 2 if there is no such run.
    """
    from benchctl.archive.collection.naming import newest  # noqa: PLC0415 - `--help` needs none of it
    from benchctl.cli.shown.folders.runs import as_data  # noqa: PLC0415

    runs = looked_into(folder)
    named = newest(filters.keep(runs.runs), runs)
    for newer in named.newer:
        click.echo(f"Warning: newer by its name, but not read: {newer}", err=True)
    click.echo(json.dumps(as_data(named.run), indent=2) if as_json else str(named.run.folder))
    return 0
