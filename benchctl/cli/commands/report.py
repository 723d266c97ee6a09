"""benchctl report: the page of a run, or of several compared."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures_csv import renew_figures
from benchctl.cli.options import json_option
from benchctl.errors import ArchiveError, UsageError
from benchctl.report.comparison_page import write_comparison
from benchctl.report.frames.publishing import write_pictures
from benchctl.report.page import write_report
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.sheet.writing import PaperName, write_sheet
from benchctl.report.summary import comparison_summary, summary_of
from benchctl.report.templating import is_page


@click.command(
    epilog="""\b
Examples:
  benchctl report runs/20261124-221003-quick-check-hx-2150
  benchctl report runs/20261124-221003-quick-check-hx-2150 --pictures
  benchctl report runs/20261124-221003-quick-check-hx-2150 --sheet --paper letter
  benchctl report runs/20261124-221003-before-and-after-hx-2150 runs/20261125-090112-before-and-after-hx-2150"""
)
@click.argument("run_folders", type=click.Path(path_type=Path), metavar="RUN_FOLDER...", nargs=-1, required=True)
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
    if (with_owner or as_sheet) and len(run_folders) > 1:
        raise UsageError("a comparison has no owner and no sheet; give one run folder")
    if as_sheet and with_pictures:
        raise UsageError("a sheet has one picture, on the paper; give --pictures without --sheet")
    if out is not None and not out.parent.is_dir():
        raise UsageError(f"there is no folder {out.parent} to write {out.name} into")
    if out is not None:
        _refuse_to_overwrite(out)
    for folder in run_folders:
        _renew_table(folder)
    if as_sheet:
        return _sheet(run_folders[0], paper, out, as_json=as_json)
    run_records = [read_run_record(folder) for folder in run_folders]
    page = (
        write_report(run_records[0], out, with_owner=with_owner)
        if len(run_records) == 1
        else write_comparison(run_records, out)
    )
    pictures = write_pictures(run_records, page) if with_pictures else None
    if as_json:
        said: dict[str, Any] = {"page": str(page), "runs": [summary_of(run_record) for run_record in run_records]}
        said |= {"pictures": str(pictures)} if pictures else {}
        compared = {"comparison": comparison_summary(run_records)} if len(run_records) > 1 else {}
        click.echo(json.dumps(said | compared, indent=2))
    else:
        click.echo(f"Report: {page}")
        if pictures:
            click.echo(f"Pictures: {pictures}")
    return 0


def _sheet(run_folder: Path, paper: PaperName, out: Path | None, *, as_json: bool) -> int:
    if out is not None:
        _refuse_for_pdf(out)
    sheet = write_sheet(read_run_record(run_folder), paper, out)
    if as_json:
        pdf = str(sheet.pdf.path) if sheet.pdf.path else None
        click.echo(json.dumps({"sheet": str(sheet.page), "pdf": pdf, "why_no_pdf": sheet.pdf.why_not}, indent=2))
        return 0
    click.echo(f"Sheet: {sheet.page}")
    click.echo(f"PDF: {sheet.pdf.path}" if sheet.pdf.path else f"No PDF: {sheet.pdf.why_not}")
    return 0


def _refuse_for_pdf(out: Path) -> None:
    """The PDF is written beside the page, and never over a file that may be somebody's own."""
    pdf = out.with_suffix(".pdf")
    if out == pdf or out.suffix == ".PDF":
        page = out.with_suffix(".html")
        raise UsageError(f"--out names the page of the sheet; give {page}, and the PDF is written beside it")
    if pdf.exists():
        raise UsageError(f"{pdf} is there already, and may be your own; give another file, or remove it")


def _refuse_to_overwrite(out: Path) -> None:
    """A page may take the place of an earlier page, and of nothing else.

    Raises:
        UsageError: something else is there.
    """
    if (out.exists() or out.is_symlink()) and not is_page(out):
        raise UsageError(f"{out} is there already and is not a report, so it is not overwritten; give another file")


def _renew_table(run_folder: Path) -> None:
    """A run that was killed wrote no table of its figures, or only that of an earlier part."""
    try:
        if renew_figures(RunFolder.open(run_folder)):
            click.echo("figures.csv is written from the journal: the run was cut off before it could.", err=True)
    except ArchiveError as error:
        click.echo(f"Warning: figures.csv is not up to date and cannot be written: {error}", err=True)
