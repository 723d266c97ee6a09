"""The page of one run: what it needs is gathered here, and printed by its template, which escapes all of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from benchctl.archive.files import write_whole
from benchctl.report.pictures.gallery import Gallery, gallery_of
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.agreement import agreement_tables
from benchctl.report.sections.equipment import equipment_tables
from benchctl.report.sections.event_tables import events_table, run_dates, steps_table
from benchctl.report.sections.figures import figures_by_step
from benchctl.report.sections.methods import UNCERTAINTY, methods_of
from benchctl.report.sections.notes import notes_shown
from benchctl.report.sections.page_head import boxes_of, facts_of, versions_of
from benchctl.report.sections.people import logo_of, people_facts
from benchctl.report.sections.rated_power import power_rows, power_tables
from benchctl.report.sections.simulated import mark_of
from benchctl.report.sections.verdicts import DECISION_RULE, overall_of, verdicts_table
from benchctl.report.sections.watched import controls_table, limits_table, protection_table, trips_table
from benchctl.report.templating import printed


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


def report_page(run_record: RunRecord, gallery: Gallery, *, with_owner: bool = False) -> str:
    """The page: the same for the same folder."""
    return printed("report.html", _contents(run_record, gallery, with_owner=with_owner))


def _contents(run_record: RunRecord, gallery: Gallery, *, with_owner: bool) -> dict[str, Any]:
    outcome = run_outcome_of(run_record)
    watched = (trips_table(run_record), protection_table(run_record), limits_table(run_record))
    contents: dict[str, Any] = {
        "verdicts": verdicts_table(run_record),
        "power": power_tables(power_rows(run_record.entries, run_record.amplifier), run_record.usual),
        "pictures": gallery.pictures,
        "figures": figures_by_step(run_record),
        "agreement": agreement_tables(run_record),
        "watched": [table for table in watched if table is not None],
        "controls": controls_table(run_record),
        "notes": notes_shown(run_record),
        "diary": [table for table in (steps_table(run_record), events_table(run_record)) if table is not None],
        "equipment": equipment_tables(run_record),
        "methods": methods_of(run_record),
    }
    return contents | {
        "sections": [(id_, title) for id_, title in _SECTIONS.items() if contents[id_] or id_ == "methods"],
        "story": run_record,
        "is_dry": run_record.is_dry,
        "mark": mark_of(run_record),
        "overall": overall_of(run_record, outcome),
        "boxes": list(boxes_of(run_record, outcome, [*run_record.missing, *gallery.missing])),
        "facts": [*people_facts(run_record, with_owner=with_owner), *facts_of(run_record, outcome)],
        "logo": logo_of(run_record),
        "with_owner": with_owner,
        "decision_rule": DECISION_RULE,
        "dates": list(run_dates(run_record)),
        "uncertainty": UNCERTAINTY,
        "versions": list(versions_of(run_record)),
    }


# What a page has, in its order; a section with nothing in it is left out, but for the last.
_SECTIONS = {
    "verdicts": "Verdicts",
    "power": "Output power",
    "pictures": "Pictures",
    "notes": "What was found and done",
    "figures": "All figures",
    "agreement": "Instruments against each other",
    "watched": "Limits and protection",
    "controls": "Controls",
    "diary": "Steps and events",
    "equipment": "Instruments",
    "methods": "Methods and uncertainty",
}
