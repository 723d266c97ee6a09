"""The page that holds several runs against the first of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from benchctl.archive.files import write_whole
from benchctl.report.comparison import RULE, Comparison, changes_table, compare, runs_table, step_tables, unlike
from benchctl.report.pictures.canvas import Picture
from benchctl.report.pictures.differences import difference_pictures
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.page_head import Box, evidence_boxes
from benchctl.report.sections.simulated import mark_of_comparison
from benchctl.report.templating import printed

_SECTIONS = {"changes": "What differs", "pictures": "Pictures", "figures": "All figures"}
_STAMP = 15  # characters that a run folder's name begins with: 20261124-221003


def write_comparison(stories: Sequence[RunRecord], out: Path | None = None) -> Path:
    """Write the page that compares runs beside the last of them, or to the file `out`; returns where it is.

    Raises:
        ArchiveError: it cannot be written.
    """
    first, last = stories[0], stories[-1]
    page = last.folder.path.parent / f"comparison-{first.name[:_STAMP]}-{last.name[:_STAMP]}.html"
    comparison = compare(stories)
    where = page if out is None else out
    write_whole(where, comparison_page(comparison, list(difference_pictures(comparison))).encode("utf-8"))
    return where


def comparison_page(comparison: Comparison, pictures: Sequence[Picture]) -> str:
    """The page: the same for the same folders."""
    return printed("comparison.html", _contents(comparison, pictures))


def _contents(comparison: Comparison, pictures: Sequence[Picture]) -> dict[str, Any]:
    stories = comparison.stories
    units = list(dict.fromkeys(run_record.unit for run_record in stories))
    titles = list(dict.fromkeys(run_record.title for run_record in stories))
    contents: dict[str, Any] = {"pictures": pictures, "figures": comparison.rows, "changes": True}
    return {
        "sections": [(id_, title) for id_, title in _SECTIONS.items() if contents[id_]],
        "title": " and ".join(units),
        "subtitle": f"{' and '.join(titles)}: {len(stories)} runs compared",
        "mark": mark_of_comparison(stories),
        "boxes": list(_boxes(stories)),
        "runs": runs_table(stories),
        "rule": RULE,
        "changes": changes_table(comparison),
        "pictures": pictures,
        "steps": step_tables(comparison),
        "folders": [run_record.name for run_record in stories],
    }


def _boxes(stories: Sequence[RunRecord]) -> Iterator[Box]:
    if differ := unlike(stories):
        text = f"What should be the same and is not: {', '.join(differ)}. A difference may come from that."
        yield Box("The runs were not made under the same conditions", "untold", (text,))
    for run_record in stories:
        yield from evidence_boxes(run_record.findings, where=f": {run_record.name}")
        if run_record.missing:
            yield Box(f"Missing from {run_record.name}", "untold", items=run_record.missing)
