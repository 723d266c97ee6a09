"""benchctl report: the page of a run, or of several compared."""

from __future__ import annotations

import json
from pathlib import Path

import click

from benchctl.cli.options import json_option
from benchctl.report.page import write_report


@click.command(
    epilog="""\b
Examples:
  benchctl report runs/20261124-221003-quick-check-hx-2150
  benchctl report runs/20261124-221003-quick-check-hx-2150 --out hx2150.html"""
)
@click.argument("run_folder", type=click.Path(path_type=Path), metavar="RUN_FOLDER")
@click.option("--out", type=click.Path(path_type=Path), help="The file to write, in place of the folder's report.html.")
@json_option
def report(run_folder: Path, out: Path | None, as_json: bool) -> int:
    """Make the page of a run, with pictures and tables.

    The page is one file that needs no network: the verdicts with what was required, power against the rating, each
    figure with its uncertainty and the capture it comes from. A run that was cut off gets a page too, which says what
    is missing. A run writes its page by itself; this writes it anew.
    """
    page = write_report(run_folder, out)
    click.echo(json.dumps({"page": str(page)}, indent=2) if as_json else f"Report: {page}")
    return 0
