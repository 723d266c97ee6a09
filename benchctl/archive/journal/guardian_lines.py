"""What a guardian did when a run could not make itself safe: its own lines, in a file beside the journal."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal import chain
from benchctl.archive.journal.events import GUARDIAN_ACTED
from benchctl.archive.journal.journal import Event
from benchctl.errors import ArchiveError


def lines_not_told(folder: RunFolder, events: Sequence[Event]) -> list[dict[str, Any]]:
    """The guardian's lines that are not yet among these events of the journal, each as fields of an event.

    A line that a crash has cut off is given as it was found.

    Raises:
        ArchiveError: the file cannot be read.
    """
    if not folder.guardian.exists():
        return []
    told = max((event["line"] for event in events if event["event"] == GUARDIAN_ACTED), default=0)
    return [{"line": number, **_fields(line)} for number, line in enumerate(_lines(folder), start=1) if number > told]


def changed_guardian_lines(folder: RunFolder, events: Sequence[Event]) -> list[str]:
    """The guardian's lines that were changed, or that differ from the journal."""
    told = [event for event in events if event["event"] == GUARDIAN_ACTED]
    try:
        lines = _lines(folder) if folder.guardian.exists() else []
    except ArchiveError as error:
        return [error.message]
    return [*_broken_links(folder, lines), *_untrue(folder, lines, told)]


def _broken_links(folder: RunFolder, lines: Sequence[str]) -> Iterator[str]:
    links = chain.Chain()
    for number, line in enumerate(lines, start=1):
        content = line.encode("utf-8")
        if chain.is_whole(content) and (trouble := links.follow(content)):
            yield f"{folder.guardian}:{number}: {trouble}"


def _untrue(folder: RunFolder, lines: Sequence[str], told: Sequence[Event]) -> Iterator[str]:
    for event in told:
        number = event["line"]
        if not 0 < number <= len(lines):
            yield f"{folder.guardian}:{number}: this line is missing; event {event['number']} of the journal has it"
        elif any(event.get(name) != value for name, value in _fields(lines[number - 1]).items()):
            yield f"{folder.guardian}:{number}: event {event['number']} of the journal has this line otherwise"


def _lines(folder: RunFolder) -> list[str]:
    return read_bytes(folder.guardian).decode("utf-8", errors="backslashreplace").splitlines()


def _fields(line: str) -> Mapping[str, Any]:
    try:
        said = json.loads(line)
    except (ValueError, RecursionError):
        said = None
    if not isinstance(said, dict) or not {"wall", "event"} <= said.keys():
        return {"did": "said what cannot be read", "torn": line}
    others = {name: value for name, value in said.items() if name not in ("wall", "event", *chain.FIELDS)}
    return {"did": said["event"], "acted": said["wall"], **others}
