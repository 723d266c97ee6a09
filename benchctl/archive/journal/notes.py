"""The notes of a run that a person wrote, as its journal tells them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchctl.archive.journal.events import BY_A_PERSON, NOTE

if TYPE_CHECKING:
    from benchctl.archive.journal.journal import Event


@dataclass(frozen=True)
class Note:
    """One note, in Markdown. `step` is empty where it was added after the run; `wall` is when it was written, and
    `photos` maps file to SHA-256."""

    number: int
    text: str
    wall: str
    time_s: float
    step: str
    photos: Mapping[str, str]


def notes_of(events: Sequence[Event]) -> list[Note]:
    """All of them, in order; what the program noted by itself is left out."""
    return [_note(event) for event in events if event["event"] == NOTE and event.get("written_by") == BY_A_PERSON]


def _note(event: Event) -> Note:
    photos = {str(photo["file"]): str(photo["sha256"]) for photo in event.get("photos", ())}
    told = str(event["text"]), str(event["wall"]), float(event["time_s"]), str(event.get("step", ""))
    return Note(int(event["number"]), *told, photos)
