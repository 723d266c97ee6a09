"""What a guardian did to a run that could not look after itself: lines of its own beside the journal."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from benchctl.archive.events import GUARDIAN_ACTED
from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal import Event


def lines_not_told(folder: RunFolder, events: Sequence[Event]) -> list[dict[str, Any]]:
    """The guardian's lines that the journal with these events does not have yet, as fields of an event each.

    A line that a crash has cut off is told as it is found.

    Raises:
        ArchiveError: the file cannot be read.
    """
    if not folder.guardian.exists():
        return []
    told = max((event["line"] for event in events if event["event"] == GUARDIAN_ACTED), default=0)
    lines = read_bytes(folder.guardian).decode("utf-8", errors="backslashreplace").splitlines()
    return [{"line": number, **_fields(line)} for number, line in enumerate(lines, start=1) if number > told]


def _fields(line: str) -> Mapping[str, Any]:
    try:
        said = json.loads(line)
    except ValueError:
        said = None
    if not isinstance(said, dict) or not {"wall", "event"} <= said.keys():
        return {"did": "said what cannot be read", "torn": line}
    others = {name: value for name, value in said.items() if name not in ("wall", "event")}
    return {"did": said["event"], "acted": said["wall"], **others}
