"""What `benchctl unit` prints, and as data."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from benchctl.archive.folder import slug
from benchctl.cli.choosing import looked_into
from benchctl.cli.shown.folders.runs import remarks
from benchctl.cli.shown.pages import refuse_to_overwrite
from benchctl.report.life.course import Course, NoteTold, RunTold, course_of
from benchctl.report.life.unit_life import UnitLife, unit_life
from benchctl.report.life_page import write_life_page


def show_unit(
    folder: Path | None, serial: str, out: Path | None, *, with_simulated: bool, with_owner: bool, as_json: bool
) -> int:
    """Write the page, and print the course in short; the command's exit code."""
    if out is not None:
        refuse_to_overwrite(out)
    collection = looked_into(folder)
    life = unit_life(collection.runs, serial, with_simulated=with_simulated)
    page = out or collection.root / f"unit-{slug(serial)}{'-with-owner' if with_owner else ''}.html"
    refuse_to_overwrite(page)
    write_life_page(life, page, with_owner=with_owner)
    course = course_of(life)
    if as_json:
        click.echo(json.dumps(_as_data(life, course, page), indent=2))
    else:
        click.echo("\n".join(_lines(life, course)))
        click.echo(f"Page: {page}")
    for line in remarks(collection, [run for run in collection.runs if run.serial == serial]):
        click.echo(line, err=True)
    return 0


def _lines(life: UnitLife, course: Course) -> Iterator[str]:
    mark = "Simulated runs among it. " if life.has_simulated else ""
    yield f"{mark}{life.title}: {len(life.runs)} run{'s' if len(life.runs) > 1 else ''}"
    for entry in course.entries():
        yield from _note(entry) if isinstance(entry, NoteTold) else _run(entry)
    for text in life.left_out:
        yield f"  left out: {text}"


def _run(run: RunTold) -> Iterator[str]:
    yield f"  {run.date}  {run.sequence}: {run.verdict}. {run.headline}."
    if run.ending:
        yield f"    {run.ending}"
    if run.changes is not None:
        yield f"    since the run of {run.changes.date}: {run.changes.sentence}"
        yield from (f"    - {line}" for line in run.changes.lines)
        if run.changes.unlike:
            yield f"    not the same in both: {', '.join(run.changes.unlike)}"
    for note in run.notes:
        yield from _note(note, inset="    ")


def _note(note: NoteTold, inset: str = "  ") -> Iterator[str]:
    """Its first line; the page has all of it."""
    first, *others = note.text.splitlines()
    photos = f" ({len(note.photos)} photograph{'s' if len(note.photos) > 1 else ''})" if note.photos else ""
    yield f"{inset}{note.when}  note: {first}{' ...' if others else ''}{photos}"


def _as_data(life: UnitLife, course: Course, page: Path) -> dict[str, Any]:
    return {
        "page": str(page),
        "serial": life.serial,
        "unit": life.title,
        "has_simulated": life.has_simulated,
        "course": [_note_data(e) if isinstance(e, NoteTold) else _run_data(e) for e in course.entries()],
        "left_out": list(life.left_out),
    }


def _run_data(run: RunTold) -> dict[str, Any]:
    changes = run.changes
    return {
        "kind": "run",
        "date": run.date,
        "folder": run.folder,
        "sequence": run.sequence,
        "bench": run.bench,
        "headline": run.headline,
        "verdict": run.verdict,
        "ended": run.ending or "Finished.",
        "instruments": run.instruments or "real",
        "changes": None
        if changes is None
        else {
            "since": changes.date,
            "sentence": changes.sentence,
            "findings": list(map(str, changes.lines)),
            "unlike": list(changes.unlike),
        },
        "notes": [_note_data(note) for note in run.notes],
    }


def _note_data(note: NoteTold) -> dict[str, Any]:
    return {
        "kind": "note",
        "when": note.when,
        "text": note.text,
        "photographs": list(note.photos),
        "folder": note.folder,
    }
