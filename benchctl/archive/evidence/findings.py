"""Whether a run folder is still as the run left it, as far as its journal shows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256

from benchctl.archive.evidence.inputs import check_inputs
from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.events import CAPTURE, RUN_ENDED, RUN_RESUMED, RUN_STARTED
from benchctl.archive.journal.guardian_lines import changed_guardian_lines
from benchctl.archive.journal.journal import Event, JournalRead
from benchctl.archive.journal.notes import notes_of
from benchctl.archive.tables.trend import trend_file
from benchctl.errors import ArchiveError


@dataclass(frozen=True)
class Findings:
    """Findings on the journal's lines, the inputs, the captures, the trend and the guardian's lines.

    Attributes:
        changed: what is not as the run left it, one sentence for each.
        unproven: what cannot be checked and why, to be read behind "cannot be checked: ".
        accepted: inputs that were changed between two parts of the run, and accepted with a reason.
        added: files that the run did not write and nothing reads.
    """

    changed: tuple[str, ...] = ()
    unproven: tuple[str, ...] = ()
    accepted: tuple[str, ...] = ()
    added: tuple[str, ...] = ()


def findings_of(folder: RunFolder, journal: JournalRead) -> Findings:
    """Compare the folder with its journal, and the journal with its hashes.

    Raises:
        ArchiveError: a folder in it cannot be listed.
    """
    events = journal.events
    inputs = check_inputs(folder, events)
    return Findings(
        changed=(
            *journal.breaks,
            *inputs.changed,
            *_changed_captures(folder, events),
            *_changed_photos(folder, events),
            *_changed_trend(folder, events),
            *changed_guardian_lines(folder, events),
        ),
        unproven=tuple(
            reason
            for reason in (
                _unproven_lines(journal),
                inputs.unproven,
                _unproven_captures(events),
                _unproven_trend(events),
            )
            if reason
        ),
        accepted=inputs.accepted,
        added=(*inputs.added, *_photos_of_no_note(folder, events)),
    )


def _unproven_lines(journal: JournalRead) -> str:
    if not journal.unchained:
        return ""
    if journal.unchained == len(journal.events):
        return "the journal's lines: they carry no hashes, as those of an earlier version"
    return (
        f"the journal's first {journal.unchained} lines as they were first written: they carry no hashes. Event "
        f"{journal.unchained + 1} has a hash of them all"
    )


def _changed_captures(folder: RunFolder, events: Sequence[Event]) -> Iterator[str]:
    for event in events:
        if event["event"] == CAPTURE and "sha256" in event:
            yield from _changed_file(folder, event["file"], event["sha256"], "the run wrote")


def _changed_photos(folder: RunFolder, events: Sequence[Event]) -> Iterator[str]:
    for file, hashed in _photos(events).items():
        yield from _changed_file(folder, file, hashed, "its note kept")


def _changed_file(folder: RunFolder, file: str, hashed: str, whose: str) -> Iterator[str]:
    try:
        content = read_bytes(folder.inside(file))
    except ArchiveError as error:
        yield f"{file} is not as {whose} it: {error.message}"
        return
    if sha256(content).hexdigest() != hashed:
        yield f"{file} is not the file that {whose}"


def _photos_of_no_note(folder: RunFolder, events: Sequence[Event]) -> Iterator[str]:
    for file in sorted(set(folder.photo_files()) - _photos(events).keys()):
        yield f"{file} belongs to no note"


def _photos(events: Sequence[Event]) -> Mapping[str, str]:
    """File -> SHA-256 of the photographs of all notes."""
    return {file: hashed for note in notes_of(events) for file, hashed in note.photos.items()}


def _unproven_captures(events: Sequence[Event]) -> str:
    without = sum(event["event"] == CAPTURE and "sha256" not in event for event in events)
    return f"{without} captures: they were taken before captures were hashed" if without else ""


def _last_word(events: Sequence[Event]) -> Event | None:
    """How the last part of the run ended; None where the journal does not say."""
    last = next((e for e in reversed(events) if e["event"] in (RUN_STARTED, RUN_RESUMED, RUN_ENDED)), None)
    return last if last is not None and last["event"] == RUN_ENDED else None


def _changed_trend(folder: RunFolder, events: Sequence[Event]) -> Iterator[str]:
    hashed = (_last_word(events) or {}).get("trend_sha256")
    if hashed is None:
        return
    try:
        content = read_bytes(trend_file(folder))
    except ArchiveError as error:
        yield f"trend.csv is not as the run left it: {error.message}"
        return
    if sha256(content).hexdigest() != hashed:
        yield "trend.csv is not the file that the run left"


def _unproven_trend(events: Sequence[Event]) -> str:
    ended = _last_word(events)
    if ended is None:
        return "trend.csv: the journal has its hash only once the run has ended"
    if "trend_sha256" not in ended:
        return "trend.csv: the run ended before trends were hashed"
    return "trend.csv: it could not be finished when the run ended" if ended["trend_sha256"] is None else ""
