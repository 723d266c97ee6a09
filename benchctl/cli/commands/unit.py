"""benchctl unit: the life of one amplifier, from its first run to its newest."""

from __future__ import annotations

from pathlib import Path

import click

from benchctl.cli.completing import complete_serial
from benchctl.cli.options import json_option


@click.command(
    epilog="""\b
Examples:
  benchctl unit 17-0042
  benchctl unit 17-0042 --runs /srv/runs --out 17-0042.html"""
)
@click.argument("serial", metavar="SERIAL", shell_complete=complete_serial)
@click.option(
    "--runs", "folder", type=click.Path(path_type=Path), metavar="FOLDER", help="The folder of runs, if it is not runs."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="The page to write, in place of unit-SERIAL.html in the folder of runs.",
)
@click.option("--with-simulated", is_flag=True, help="Take in runs with simulated instruments; the page then says so.")
@click.option(
    "--with-owner",
    is_flag=True,
    help="Name owner, contact, reference and tester on the page; it is unit-SERIAL-with-owner.html. Do not publish it.",
)
@json_option
def unit(  # noqa: PLR0917 - one for each argument and option
    serial: str, folder: Path | None, out: Path | None, with_simulated: bool, with_owner: bool, as_json: bool
) -> int:
    """Show all runs of one unit, by its serial number: what changed, what was repaired, its figures over time.

    The page has every run in the order of time with its verdict, what changed beyond both uncertainties since the
    earlier run of the same sequence, and the notes between them with their dates. Runs of other sequences are not held
    against each other as if they were alike. A run that was stopped or cut off is shown as such.
    """
    from benchctl.cli.shown.months.unit import show_unit  # noqa: PLC0415 - heavy, and `--help` needs none of it

    return show_unit(folder, serial, out, with_simulated=with_simulated, with_owner=with_owner, as_json=as_json)
