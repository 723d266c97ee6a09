"""The page of a run on the site and its table of figures: by any process, for the same folder gives the same bytes."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from pathlib import Path

from benchctl.archive.tables.figures_csv import figures_table
from benchctl.archive.tables.run_identity import run_identity_of
from benchctl.report.page import Ways, report_page
from benchctl.report.pictures.gallery import gallery_of
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.site.sources import page_source


@dataclass(frozen=True)
class PageTask:
    """A page to make. `folder`: its whole path, for whoever makes the page may be elsewhere; `page` and `table`: names
    of both files in the site; `content`: the hash of what the folder holds."""

    folder: Path
    page: str
    table: str
    ways: Ways
    with_owner: bool
    content: str

    @property
    def source(self) -> str:
        """The hash of all that both files are made from."""
        return page_source(self.content, self.ways, self.with_owner)


@dataclass(frozen=True)
class MadePage:
    """The content of both files."""

    page: bytes
    table: bytes


def make_page(task: PageTask) -> MadePage:
    """Make both.

    Raises:
        UsageError, ArchiveError: the run folder cannot be read.
    """
    record = read_run_record(task.folder)
    page = report_page(record, gallery_of(record), with_owner=task.with_owner, ways=task.ways)
    table = figures_table(record.entries, run_identity_of(record.events))
    return MadePage(_without_path(page, task.folder).encode("utf-8", errors="replace"), table)


def _without_path(page: str, folder: Path) -> str:
    """A message about a damaged folder names it by its path; where somebody keeps his runs is nobody else's business,
    and the same runs elsewhere must give the same page."""
    return page.replace(escape(str(folder)), escape(folder.name))
