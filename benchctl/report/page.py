"""The page of one run: what it needs is gathered here, and printed by its template, which escapes all of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from benchctl.archive.files import write_whole
from benchctl.report.pictures.gallery import Gallery, gallery_of
from benchctl.report.reading.run_outcome import ending_of
from benchctl.report.reading.run_record import Story
from benchctl.report.sections.agreement import agreement_tables
from benchctl.report.sections.equipment import equipment_tables
from benchctl.report.sections.event_tables import events_table, run_dates, steps_table
from benchctl.report.sections.figures import figures_by_step
from benchctl.report.sections.methods import UNCERTAINTY, methods_of
from benchctl.report.sections.page_head import boxes_of, facts_of, versions_of
from benchctl.report.sections.rated_power import power_rows, power_tables
from benchctl.report.sections.verdicts import DECISION_RULE, overall_of, verdicts_table
from benchctl.report.sections.watched import controls_table, limits_table, protection_table, trips_table
from benchctl.report.templating import printed


def write_report(story: Story, out: Path | None = None) -> Path:
    """Write the page of a run into its folder, or to the file `out`; returns where it is.

    Raises:
        ArchiveError: it cannot be written.
    """
    page = story.folder.report if out is None else out
    write_whole(page, report_page(story, gallery_of(story)).encode("utf-8"))
    return page


def report_page(story: Story, gallery: Gallery) -> str:
    """The page: the same for the same folder."""
    return printed("report.html", _contents(story, gallery))


def _contents(story: Story, gallery: Gallery) -> dict[str, Any]:
    ending = ending_of(story)
    watched = (trips_table(story), protection_table(story), limits_table(story))
    contents: dict[str, Any] = {
        "verdicts": verdicts_table(story),
        "power": power_tables(power_rows(story.entries, story.amplifier), story.usual),
        "pictures": gallery.pictures,
        "figures": figures_by_step(story),
        "agreement": agreement_tables(story),
        "watched": [table for table in watched if table is not None],
        "controls": controls_table(story),
        "diary": [table for table in (steps_table(story), events_table(story)) if table is not None],
        "equipment": equipment_tables(story),
        "methods": methods_of(story),
    }
    return contents | {
        "sections": [(id_, title) for id_, title in _SECTIONS.items() if contents[id_] or id_ == "methods"],
        "story": story,
        "is_dry": story.is_dry,
        "overall": overall_of(story, ending),
        "boxes": list(boxes_of(story, ending, [*story.missing, *gallery.missing])),
        "facts": list(facts_of(story, ending)),
        "decision_rule": DECISION_RULE,
        "dates": list(run_dates(story)),
        "uncertainty": UNCERTAINTY,
        "versions": list(versions_of(story)),
    }


# What a page has, in its order; a section with nothing in it is left out, but for the last.
_SECTIONS = {
    "verdicts": "Verdicts",
    "power": "Output power",
    "pictures": "Pictures",
    "figures": "All figures",
    "agreement": "Instruments against each other",
    "watched": "Limits and protection",
    "controls": "Controls",
    "diary": "Course of the run",
    "equipment": "Instruments",
    "methods": "Methods and uncertainty",
}
