"""Over what a page on many runs may be written."""

from __future__ import annotations

from pathlib import Path

from benchctl.errors import UsageError
from benchctl.report.templating import is_page


def refuse_to_overwrite(page: Path) -> None:
    """A page may take the place of an earlier page, and of nothing else.

    Raises:
        UsageError: something else is there, or there is no such folder.
    """
    if not page.parent.is_dir():
        raise UsageError(f"there is no folder {page.parent} to write {page.name} into")
    if (page.exists() or page.is_symlink()) and not is_page(page):
        raise UsageError(f"{page} is there already and is not a report, so it is not overwritten; give another file")
