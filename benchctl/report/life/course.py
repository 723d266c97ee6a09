"""The course of a unit's life in words: each run, what changed, and the notes between them, in the order of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from markupsafe import Markup

from benchctl.archive.journal.notes import Note, notes_of
from benchctl.report.comparison.compared import Comparison, compare, steps_of
from benchctl.report.comparison.findings import Line, findings_of, line_of
from benchctl.report.comparison.sentence import sentence_of
from benchctl.report.comparison.tables import unlike
from benchctl.report.headline.writing import headline_of
from benchctl.report.life.unit_life import RunOfUnit, UnitLife
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.notes import as_html, caption_of, when_of
from benchctl.report.sections.page_head import date_of
from benchctl.report.sections.simulated import instruments_in_words, mark_of
from benchctl.report.sections.verdicts import overall_of

MOST_LINES = 5


@dataclass(frozen=True)
class NoteTold:
    """A note: when it was written, its text, what its photographs are called on the page of its run, and that run's
    folder. `number` counts the notes that were added after a run; 0 of one that was written while it went on."""

    moment: datetime
    when: str
    text: str
    html: Markup
    photos: tuple[str, ...]
    folder: str
    number: int = 0


@dataclass(frozen=True)
class Changes:
    """A run against an earlier one, of `date`: `lines` say what changed, `left` how many more there are, `unlike` what
    was not the same beside the amplifier."""

    date: str
    sentence: str
    lines: tuple[Line, ...]
    left: int
    unlike: tuple[str, ...]


@dataclass(frozen=True)
class RunTold:
    """`ending` where it did not come to its end; `instruments` where not all were real. `changes` is None where there
    is no earlier run alike."""

    moment: datetime
    date: str
    sequence: str
    folder: str
    bench: str
    headline: str
    verdict: str
    look: str
    ending: str
    instruments: str
    changes: Changes | None
    notes: tuple[NoteTold, ...]


@dataclass(frozen=True)
class Course:
    """Runs, and the notes that were added after them, each in the order of time."""

    runs: tuple[RunTold, ...]
    notes: tuple[NoteTold, ...]

    def entries(self) -> list[RunTold | NoteTold]:
        """Both together; a note stands after the runs that were made by then."""
        return sorted([*self.runs, *self.notes], key=lambda entry: (entry.moment, isinstance(entry, NoteTold)))


def course_of(life: UnitLife) -> Course:
    """Every run and every note of a person."""
    notes = sorted((note for run in life.runs for note in _notes_after(run)), key=lambda note: note.moment)
    numbered = tuple(replace(note, number=number) for number, note in enumerate(notes, start=1))
    return Course(tuple(map(_told, life.runs)), numbered)


def since_the_first(life: UnitLife) -> Changes | None:
    """The newest run against the first one that took the same steps; None where it is that one itself."""
    newest = life.runs[-1].run_record
    first = next(each.run_record for each in life.runs if steps_of(each.run_record) == steps_of(newest))
    return None if first is newest else _changes(compare([first, newest]))


def _told(run: RunOfUnit) -> RunTold:
    run_record = run.run_record
    outcome = run_outcome_of(run_record)
    overall = overall_of(run_record, outcome)
    return RunTold(
        moment=run.began,
        date=date_of(run_record),
        sequence=run_record.title,
        folder=run_record.name,
        bench=run_record.bench.title if run_record.bench else "",
        headline=str(headline_of(run_record)),
        verdict=overall.word,
        look=overall.look,
        ending="" if outcome.is_finished else outcome.words,
        instruments=instruments_in_words(run_record) if mark_of(run_record) is not None else "",
        changes=_changes(run.since) if run.since is not None else None,
        notes=tuple(_note(note, run_record, run.began) for note in notes_of(run_record.events) if note.step),
    )


def _changes(comparison: Comparison) -> Changes:
    findings = findings_of(comparison)
    return Changes(
        date=date_of(comparison.run_records[0]),
        sentence=str(sentence_of(comparison)),
        lines=tuple(line_of(finding, comparison) for finding in findings[:MOST_LINES]),
        left=max(0, len(findings) - MOST_LINES),
        unlike=tuple(unlike(comparison.run_records)),
    )


def _notes_after(run: RunOfUnit) -> Iterator[NoteTold]:
    for note in notes_of(run.run_record.events):
        if not note.step:
            yield _note(note, run.run_record, _moment(note) or run.began)


def _moment(note: Note) -> datetime | None:
    try:
        moment = datetime.fromisoformat(note.wall)
    except ValueError:  # of a journal that somebody has changed
        return None
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def _note(note: Note, run_record: RunRecord, moment: datetime) -> NoteTold:
    photos = tuple(caption_of(note, place) for place in range(1, len(note.photos) + 1))
    return NoteTold(moment, when_of(note), note.text, as_html(note.text), photos, run_record.name)
