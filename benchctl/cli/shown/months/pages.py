"""Where a page on many runs is written, and over what it may be."""

from __future__ import annotations

from pathlib import Path

from benchctl.errors import UsageError
from benchctl.report.templating import is_page


def page_for(out: Path | None, usual: Path) -> Path:
    """The file that was asked for, or the usual one. A page may take the place of an earlier page, and of nothing else.

    Raises:
        UsageError: something else is there, or there is no such folder.
    """
    page = out or usual
    if not page.parent.is_dir():
        raise UsageError(f"there is no folder {page.parent} to write {page.name} into")
    if (page.exists() or page.is_symlink()) and not is_page(page):
        raise UsageError(f"{page} is there already and is not a report, so it is not overwritten; give another file")
    return page
