"""The page on a unit's life: what each run found, what changed, what was noted, and the figures over time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from benchctl.archive.files import write_whole
from benchctl.report.headline.writing import headline_of
from benchctl.report.life.course import Course, course_of, since_the_first
from benchctl.report.life.unit_life import UnitLife
from benchctl.report.pictures.gallery import drawn_of
from benchctl.report.pictures.over_months.life import life_pictures
from benchctl.report.sections.page_head import Box
from benchctl.report.sections.people import people_facts
from benchctl.report.sections.simulated import SOME_SIMULATED
from benchctl.report.sections.tables import Cell, Table, heads
from benchctl.report.templating import printed
from benchctl.report.words.days import span_in_words

_SECTIONS = {
    "over-time": "Figures over time",
    "course": "The course",
    "runs": "The runs",
    "left-out": "Runs that are left out",
}


def write_life_page(life: UnitLife, out: Path, *, with_owner: bool = False) -> None:
    """Write the page to the file `out`.

    Raises:
        ArchiveError: it cannot be written.
    """
    write_whole(out, life_page(life, with_owner=with_owner).encode("utf-8"))


def life_page(life: UnitLife, *, with_owner: bool = False) -> str:
    """The page: the same for the same folders."""
    course = course_of(life)
    gallery = drawn_of(iter([("figures over time", life_pictures(life, [note.moment for note in course.notes]))]))
    contents: dict[str, Any] = {
        "over-time": gallery.pictures,
        "course": course.entries(),
        "runs": runs_table(course),
        "left-out": life.left_out,
    }
    return printed(
        "life.html",
        contents
        | {
            "sections": [(id_, title) for id_, title in _SECTIONS.items() if contents[id_]],
            "title": life.title,
            "headline": headline_of(life.runs[-1].run_record),
            "since": since_the_first(life),
            "mark": SOME_SIMULATED if life.has_simulated else None,
            "with_owner": with_owner,
            "people": list(people_facts(life.runs[-1].run_record, with_owner=with_owner)),
            "facts": list(facts_of(life, course)),
            "boxes": list(_boxes(gallery.missing)),
            "pictures": gallery.pictures,
            "left_out": life.left_out,
            "count": len(life.runs),
        },
    )


def facts_of(life: UnitLife, course: Course) -> Iterator[tuple[str, str]]:
    """What the page rests on."""
    count = len(life.runs)
    yield "Runs", f"{count}, {span_in_words(life.runs[0].began, life.runs[-1].began)}"
    newest = course.runs[-1]
    yield "Newest run", f"{newest.sequence}, {newest.date}: {newest.verdict.lower()}"
    if course.notes:
        yield "Repairs and notes", str(len(course.notes))


def runs_table(course: Course) -> Table:
    """A row for each run."""
    rows = tuple(
        (
            Cell(run.date),
            Cell(run.sequence),
            Cell(run.verdict, run.look),
            Cell(run.ending or "Finished."),
            Cell(run.bench),
            Cell(run.instruments),
            Cell(run.folder),
        )
        for run in course.runs
    )
    columns = heads("date", "sequence", "verdict", "ended", "bench", "instruments", "run folder")
    return Table("The runs", columns, rows).without_empty_columns()


def _boxes(missing: Sequence[str]) -> Iterator[Box]:
    if missing:
        yield Box("Pictures that could not be drawn", "untold", items=tuple(missing))
