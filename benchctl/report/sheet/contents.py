"""What a sheet holds, from the run folder: no more of anything than one side of paper has room for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchctl.report.headline.sentence import Headline
from benchctl.report.headline.writing import headline_of
from benchctl.report.parts import leading_picture
from benchctl.report.pictures.canvas import Picture
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_outcome import RunOutcome, run_outcome_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.diagnosis import diagnosis_sentence
from benchctl.report.sections.notes import notes_shown
from benchctl.report.sections.page_head import Box, boxes_of, date_of
from benchctl.report.sections.people import logo_of, unit_of, workshop_of
from benchctl.report.sections.simulated import Mark, mark_of
from benchctl.report.sections.unsaid import unsaid_boxes
from benchctl.report.sections.verdicts import Overall, overall_of
from benchctl.report.sheet.judged import SheetVerdicts, sheet_verdicts
from benchctl.report.sheet.shortened import cut, listed_short
from benchctl.report.sheet.six import SheetFigure, six_figures

_LONGEST_LIMIT = 200
# Longer than any name or address that is meant to be read.
_LONGEST_NAME, _LONGEST_CONTACT, _LONGEST_SENTENCE = 70, 110, 160


@dataclass(frozen=True)
class Room:
    """How much of what may be long is shown: rows of verdicts, warnings, characters of the notes."""

    verdicts: int
    limits: int
    notes: int


@dataclass(frozen=True)
class Limit:
    """One thing that the test does not tell, or that must not be overlooked; `look` as of a verdict."""

    title: str
    text: str
    look: str


@dataclass(frozen=True)
class SheetContents:
    """Everything that the template prints. `workshop` is its name and contact, `owner` names and texts; `footing` is
    what was done, where, and in which folder its records are."""

    title: str
    unit: str
    date: str
    mark: Mark | None
    logo: str
    workshop: tuple[str, ...]
    tester: str
    owner: tuple[tuple[str, str], ...]
    overall: Overall
    headline: Headline
    limits: tuple[Limit, ...]
    figures: tuple[SheetFigure, ...]
    verdicts: SheetVerdicts
    picture: Picture | None
    diagnosis: str
    found: str
    footing: str


def sheet_contents(run_record: RunRecord, gallery: Gallery, room: Room) -> SheetContents:
    """As much as there is room for."""
    outcome, headline = run_outcome_of(run_record), headline_of(run_record)
    workshop = workshop_of(run_record)
    shown = [workshop.name, workshop.contact or ""] if workshop else []
    return SheetContents(
        title=run_record.unit,
        unit=cut(run_record.amplifier.title if run_record.amplifier else run_record.unit, _LONGEST_CONTACT),
        date=date_of(run_record),
        mark=mark_of(run_record),
        logo=logo_of(run_record),
        workshop=tuple(cut(text, _LONGEST_CONTACT) for text in shown if text),
        tester=cut((workshop and workshop.tester) or "", _LONGEST_NAME),
        owner=tuple(_owner(run_record)),
        overall=overall_of(run_record, outcome),
        headline=headline,
        limits=tuple(_limits(run_record, outcome, gallery.missing, room.limits)),
        figures=tuple(six_figures(run_record, headline)),
        verdicts=sheet_verdicts(run_record, room.verdicts),
        picture=leading_picture(headline, gallery.pictures),
        diagnosis=cut(diagnosis_sentence(run_record), room.notes),
        found=_found(run_record, room.notes),
        footing=cut(_footing(run_record), 2 * _LONGEST_LIMIT),
    )


def _owner(run_record: RunRecord) -> Iterator[tuple[str, str]]:
    unit, amplifier = unit_of(run_record), run_record.amplifier
    told = (
        ("Serial number", amplifier.serial if amplifier else None, _LONGEST_NAME),
        ("Owner", unit.owner, _LONGEST_NAME),
        ("Contact", unit.contact, _LONGEST_NAME),
        ("Owner's reference", unit.reference, _LONGEST_NAME),
        ("Complaint", unit.complaint, _LONGEST_SENTENCE),
    )
    yield from ((name, cut(text, longest)) for name, text, longest in told if text)


def _footing(run_record: RunRecord) -> str:
    where = f", on {run_record.bench.title}" if run_record.bench else ""
    return f"{run_record.title}{where}. The records are in the run folder {run_record.name}."


def _found(run_record: RunRecord, longest: int) -> str:
    """The notes in plain words, one behind the other."""
    return cut(" — ".join(note.html.striptags() for note in notes_shown(run_record)), longest)


def _limits(run_record: RunRecord, outcome: RunOutcome, missing: Sequence[str], most: int) -> list[Limit]:
    """What the head of the page warns of, the worst first; of too much, what else the page has."""
    boxes = sorted(boxes_of(run_record, outcome, [*run_record.missing, *missing]), key=lambda box: box.look != "fails")
    limits = [_limit(box) for box in (*boxes, *unsaid_boxes(run_record))]
    if len(limits) <= most:
        return limits
    titles = listed_short((limit.title for limit in limits[most - 1 :]), _LONGEST_LIMIT)
    return [*limits[: most - 1], Limit("And, on the page", titles, "untold")]


def _limit(box: Box) -> Limit:
    return Limit(box.title, listed_short(box.items or box.texts, _LONGEST_LIMIT), box.look)
