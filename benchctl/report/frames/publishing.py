"""The pictures of a run, or of several compared, as files beside their page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from benchctl.report.comparison.compared import compare
from benchctl.report.frames.bundle import write_bundle
from benchctl.report.frames.sources import said_of, said_of_comparison
from benchctl.report.pictures.compared.overlays import comparison_gallery
from benchctl.report.pictures.gallery import gallery_of
from benchctl.report.reading.run_record import RunRecord


def write_pictures(run_records: Sequence[RunRecord], page: Path) -> Path:
    """Write the pictures of a page that was made of these runs; returns their folder.

    Raises:
        UsageError: something else stands at the folder's place.
        ArchiveError: it cannot be written.
    """
    if len(run_records) > 1:
        comparison = compare(run_records)
        return write_bundle(
            folder_beside(page), lambda: comparison_gallery(comparison).pictures, said_of_comparison(comparison)
        )
    (run_record,) = run_records
    folder = folder_beside(page, run_record.folder.path)
    return write_bundle(folder, lambda: gallery_of(run_record).pictures, said_of(run_record))


def folder_beside(page: Path, run_folder: Path | None = None) -> Path:
    """`pictures` in the run folder where the page is; elsewhere a folder with the page's name."""
    is_at_home = run_folder is not None and page.parent.resolve() == run_folder.resolve()
    return page.with_name("pictures" if is_at_home else f"{page.stem}-pictures")
