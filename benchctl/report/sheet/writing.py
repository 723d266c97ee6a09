"""Writes the sheet: its page, and its PDF where there is a browser to print it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from benchctl.archive.files import write_whole
from benchctl.report.pictures.gallery import Gallery, gallery_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sheet.contents import SheetContents, sheet_contents
from benchctl.report.sheet.fitting import PAPERS, ROOMS, SIZES_PT, Paper, size_for
from benchctl.report.sheet.printing import Printed, print_page
from benchctl.report.templating import printed

PaperName = Literal["a4", "letter"]


@dataclass(frozen=True)
class Sheet:
    """Where the sheet is, and its PDF, or why there is none."""

    page: Path
    pdf: Printed


def write_sheet(run_record: RunRecord, paper: PaperName, out: Path | None = None) -> Sheet:
    """Write the sheet of a run into its folder, or to the file `out`, and its PDF beside it.

    Raises:
        ArchiveError: it cannot be written.
    """
    page = out or run_record.folder.sheet
    write_whole(page, sheet_page(run_record, gallery_of(run_record), paper).encode("utf-8"))
    return Sheet(page, print_page(page, page.with_suffix(".pdf")))


def sheet_page(run_record: RunRecord, gallery: Gallery, paper: PaperName) -> str:
    """The sheet as a page: the same for the same folder."""
    contents, size_pt = _fitted(run_record, gallery, PAPERS[paper])
    return printed("sheet.html", {**vars(contents), "paper": PAPERS[paper], "size_pt": size_pt})


def _fitted(run_record: RunRecord, gallery: Gallery, paper: Paper) -> tuple[SheetContents, float]:
    """As much as fits, in type as large as fits; if there is still too much to say, without a picture."""
    for room in ROOMS:
        contents = sheet_contents(run_record, gallery, room)
        if (size := size_for(contents, paper)) is not None:
            return contents, size
    return replace(contents, picture=None), SIZES_PT[-1]
