"""benchctl export: runs in forms that other programs read."""

from __future__ import annotations

from pathlib import Path

import click

from benchctl.cli.options import of_run_folder

FORMS = ("parquet", "csv", "wav", "junit")


@click.command(
    epilog="""\b
Examples:
  benchctl export runs/20261124-221003-quick-check-hx-2150 --as csv --out tables
  benchctl export runs/20261124-221003-quick-check-hx-2150 --as wav --out sounds
  benchctl export runs/20261124-221003-quick-check-hx-2150 --as junit --out results.xml"""
)
@of_run_folder("run_folders", metavar="RUN_FOLDER...", several=True)
@click.option("--as", "form", type=click.Choice(FORMS), required=True, help="The form to write.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="The folder to write into; of junit, the file. It is made if it is not there.",
)
@click.option(
    "--with-owner",
    is_flag=True,
    help="Name owner, contact, reference and tester too, in parquet, csv and junit. Do not publish that.",
)
@click.option("--replace", is_flag=True, help="Write over files of the same names that are there already.")
def export(run_folders: tuple[Path, ...], form: str, out: Path, with_owner: bool, replace: bool) -> int:
    """Write runs as Parquet, CSV, sound files in volts, or JUnit XML.

    parquet and csv hold three tables: runs, figures and trend, each row with the run that it is of. wav holds each
    record as a sound file whose samples are volts, with a file beside it that says when the trigger came. junit holds
    the verdicts as test cases, for those who test in series.

    A bound stays a bound, an inconclusive verdict is no pass, and what was simulated says so in each form. A folder
    that is no run folder is named and left out; the exit code is 1 then, and also where a record could not be read.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.cli.shown.exported import export_and_tell  # noqa: PLC0415

    return export_and_tell(run_folders, form, out, with_owner=with_owner, replace=replace)
