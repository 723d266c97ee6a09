"""Makes the page of a run, of several compared, or the owner's sheet, and says where it is."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures_csv import renew_figures
from benchctl.cli.shown.pages import refuse_to_overwrite
from benchctl.errors import ArchiveError, UsageError
from benchctl.report.comparison_page import write_comparison
from benchctl.report.frames.publishing import write_pictures
from benchctl.report.page import write_report
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.sheet.writing import PaperName, write_sheet
from benchctl.report.summary import comparison_summary, summary_of


@dataclass(frozen=True)
class Wanted:
    """What the command line asks for; `out` is None for the usual place."""

    out: Path | None
    with_owner: bool
    with_pictures: bool
    as_sheet: bool
    paper: PaperName
    as_json: bool


def make_page(run_folders: tuple[Path, ...], wanted: Wanted) -> int:
    """Make it; returns the exit code.

    Raises:
        UsageError: what is asked for does not go together, or would take the place of something else.
    """
    if (wanted.with_owner or wanted.as_sheet) and len(run_folders) > 1:
        raise UsageError("a comparison has no owner and no sheet; give one run folder")
    if wanted.as_sheet and wanted.with_pictures:
        raise UsageError("a sheet has one picture, on the paper; give --pictures without --sheet")
    if wanted.out is not None:
        refuse_to_overwrite(wanted.out)
    for folder in run_folders:
        _renew_table(folder)
    if wanted.as_sheet:
        return _sheet(run_folders[0], wanted.paper, wanted.out, as_json=wanted.as_json)
    run_records = [read_run_record(folder) for folder in run_folders]
    page = (
        write_report(run_records[0], wanted.out, with_owner=wanted.with_owner)
        if len(run_records) == 1
        else write_comparison(run_records, wanted.out)
    )
    pictures = write_pictures(run_records, page) if wanted.with_pictures else None
    if wanted.as_json:
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


def _renew_table(run_folder: Path) -> None:
    """A run that was killed wrote no table of its figures, or only that of an earlier part."""
    try:
        if renew_figures(RunFolder.open(run_folder)):
            click.echo("figures.csv is written from the journal: the run was cut off before it could.", err=True)
    except ArchiveError as error:
        click.echo(f"Warning: figures.csv is not up to date and cannot be written: {error}", err=True)
