"""benchctl report: the page of a run, or of several compared."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchctl.cli.options import json_option, of_run_folder

if TYPE_CHECKING:
    from benchctl.report.sheet.writing import PaperName


@click.command(
    epilog="""\b
Examples:
  benchctl report runs/20261124-221003-quick-check-hx-2150
  benchctl report latest --pictures
  benchctl report runs/20261124-221003-quick-check-hx-2150 --sheet --paper letter
  benchctl report runs/20261124-221003-before-and-after-hx-2150 runs/20261125-090112-before-and-after-hx-2150"""
)
@of_run_folder("run_folders", metavar="RUN_FOLDER...", several=True)
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The file to write, in place of report.html in the run folder or comparison-....html beside the last one.",
)
@click.option(
    "--with-owner",
    is_flag=True,
    help="Name owner, contact, reference and tester on the page; it is report-with-owner.html. Do not publish it.",
)
@click.option(
    "--pictures",
    "with_pictures",
    is_flag=True,
    help="Write each picture as SVG and PNG as well, also composed for a 16:9 frame, into a folder pictures in the run "
    "folder, or NAME-pictures beside a page that is written elsewhere.",
)
@click.option(
    "--sheet",
    "as_sheet",
    is_flag=True,
    help="Make the owner's sheet of one page: sheet.html in the run folder, and sheet.pdf where Chromium is found.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="The paper of the owner's sheet.",
)
@json_option
def report(  # noqa: PLR0917 - one for each argument and option
    run_folders: tuple[Path, ...],
    out: Path | None,
    with_owner: bool,
    with_pictures: bool,
    as_sheet: bool,
    paper: PaperName,
    as_json: bool,
) -> int:
    """Make the page of a run, with pictures and tables.

    The page is one file that needs no network: the verdicts with what was required, power against the rating, each
    figure with its uncertainty and the capture it comes from. A run that was cut off gets a page too, which says what
    is missing. A run writes its page by itself; this writes it again.

    Of several run folders the page holds every other one against the first: the same figures side by side, by how much
    they differ, and whether that is more than their uncertainty.
    """
    from benchctl.cli.shown.folders.reporting import Wanted, make_page  # noqa: PLC0415 - heavy, and `--help` needs none

    return make_page(run_folders, Wanted(out, with_owner, with_pictures, as_sheet, paper, as_json))
