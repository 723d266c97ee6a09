"""The page of one run: what it needs is gathered here, and printed by its template, which escapes all of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from benchctl.archive.files import write_whole
from benchctl.report.headline.writing import headline_of
from benchctl.report.parts import leading_picture, parts_of
from benchctl.report.pictures.gallery import Gallery, gallery_of
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.page_head import boxes_of, facts_of
from benchctl.report.sections.people import logo_of, people_facts
from benchctl.report.sections.simulated import mark_of
from benchctl.report.sections.unsaid import unsaid_boxes
from benchctl.report.sections.verdicts import overall_of
from benchctl.report.templating import printed

Ways = tuple[tuple[str, str], ...]


def write_report(run_record: RunRecord, out: Path | None = None, *, with_owner: bool = False) -> Path:
    """Write the page of a run into its folder, or to the file `out`; returns where it is.

    `with_owner`: name the owner and the tester. Such a page has a name of its own, so that it is not published for the
    other one.

    Raises:
        ArchiveError: it cannot be written.
    """
    folder = run_record.folder
    page = out or (folder.report_with_owner if with_owner else folder.report)
    text = report_page(run_record, gallery_of(run_record), with_owner=with_owner)
    write_whole(page, text.encode("utf-8"))
    return page


def report_page(run_record: RunRecord, gallery: Gallery, *, with_owner: bool = False, ways: Ways = ()) -> str:
    """The page: the same for the same folder. `ways`: addresses and texts of links at its head, to other pages of a
    collection."""
    return printed("report.html", _contents(run_record, gallery, with_owner=with_owner) | {"ways": ways})


def _contents(run_record: RunRecord, gallery: Gallery, *, with_owner: bool) -> dict[str, Any]:
    outcome, headline = run_outcome_of(run_record), headline_of(run_record)
    leading = leading_picture(headline, gallery.pictures)
    others = [picture for picture in gallery.pictures if picture is not leading]
    parts = parts_of(run_record, outcome, others)
    boxes = [*boxes_of(run_record, outcome, [*run_record.missing, *gallery.missing])]
    return {
        "run_record": run_record,
        "headline": headline,
        "leading": leading,
        "mark": mark_of(run_record),
        "overall": overall_of(run_record, outcome),
        "loud": [box for box in boxes if box.look == "fails"],
        "quiet": [*unsaid_boxes(run_record), *(box for box in boxes if box.look != "fails")],
        "facts": list(facts_of(run_record)),
        "people": list(people_facts(run_record, with_owner=with_owner)),
        "logo": logo_of(run_record),
        "with_owner": with_owner,
        "sections": [(part.id, part.title) for part in parts],
        "parts": parts,
    }
