"""The journal: one JSON object on each line, on the disk before the next command is sent.

Lines are only ever added. A crash can cut off the last one; it is reported, never dropped: the next writer first ends
the torn piece with a line end and writes a `torn_line` event that repeats it exactly.

Each line carries the hash of the event before it and its own (`evidence.chain`), so that a change shows.
"""

from __future__ import annotations

import json
import math
import os
import threading
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from benchctl.archive.files import Whereabouts, disk_errors, read_bytes, sync_folder
from benchctl.archive.journal import chain
from benchctl.archive.journal.chain import Chain, sealed
from benchctl.archive.journal.forms import problem_of
from benchctl.clock import Clock
from benchctl.errors import ArchiveError

Event = Mapping[str, Any]

TORN_LINE = "torn_line"
_OWN_FIELDS = ("number", "time_s", "wall", "event")
_CHANGED = "Put the file back as the run left it, from a copy. A run does not go on from a record that was changed."


@dataclass(frozen=True)
class JournalRead:
    """What a journal holds: the whole events in order, and what a crash left of a last line (None: nothing).

    Bytes of the torn piece that are not UTF-8 are shown as backslash escapes. `breaks` says where a line was changed,
    with file and line. `unchained` counts the events at the beginning without a hash, which an earlier version wrote;
    `last_hash` is the `before` of the next line.
    """

    events: tuple[Event, ...]
    torn: str | None
    breaks: tuple[str, ...] = ()
    unchained: int = 0
    last_hash: str = ""

    def unbroken(self) -> JournalRead:
        """This object, if every line is as it was written.

        Raises:
            ArchiveError: one is not; names file and line.
        """
        if self.breaks:
            raise ArchiveError(self.breaks[0], advice=_CHANGED)
        return self

    def of_kind(self, kind: str) -> tuple[Event, ...]:
        """The events of one kind, in order."""
        return tuple(event for event in self.events if event["event"] == kind)


class Journal:
    """Adds events to a journal file; an existing file is continued. Safe to use from several threads.

    Raises:
        ArchiveError: the file cannot be opened.
    """

    def __init__(self, path: Path, clock: Clock, whereabouts: Whereabouts | None = None) -> None:
        self.path = path
        self._whereabouts = whereabouts or Whereabouts()
        self._clock = clock
        self._lock = threading.Lock()
        self._next_number = 1
        self._last_hash = ""
        self._must_mend = True  # the last writer may have been killed in the middle of a line
        with disk_errors("write", path):
            self._file = path.open("ab", buffering=0)
            sync_folder(path.parent)

    def append(self, event: str, /, **fields: Any) -> Event:
        """Write one event; it is on the disk when this returns. Returns it with the fields that the journal adds.

        Args:
            event: its kind.
            fields: its content, in JSON form. A number that is not finite must come as None, with
                a field that says why.

        Raises:
            ArchiveError: it could not be written, holds a number that is not finite, or the file was already broken
                before its end.
        """
        with self._lock:
            self._mend()
            whole = self._whole(event, fields)
            self._write(whole)
            return whole

    def close(self) -> None:
        """Close the file. Idempotent."""
        self._file.close()

    def _whole(self, event: str, fields: Mapping[str, Any]) -> Event:
        if clash := [name for name in (*_OWN_FIELDS, *chain.FIELDS) if name in fields]:
            raise ValueError(f"event '{event}' has a field named {clash[0]}, which the journal sets itself")
        wall = self._clock.wall().astimezone(UTC).isoformat(timespec="milliseconds")
        return {"number": self._next_number, "time_s": self._clock.now(), "wall": wall, "event": event, **fields}

    def _write(self, event: Event, *, after: bytes = b"") -> None:
        line, own_hash = sealed(_encoded(event), self._last_hash)
        with disk_errors("write", self.path):
            self._whereabouts.check(self.path, self._file.fileno())
            self._must_mend = True  # until all of it is on the disk
            self._write_all(after + line + b"\n")
            os.fsync(self._file.fileno())
        self._must_mend = False
        self._next_number += 1
        self._last_hash = own_hash

    def _write_all(self, line: bytes) -> None:
        view = memoryview(line)
        while view:
            view = view[self._file.write(view) :]

    def _mend(self) -> None:
        """Make sure that the next event starts on a new line and has the next number."""
        if not self._must_mend:
            return
        content = read_bytes(self.path)
        found = parse_journal(content, self.path).unbroken()
        self._next_number = len(found.events) + 1
        self._last_hash = found.last_hash
        if found.torn is not None:
            self._write(self._whole(TORN_LINE, {"torn": found.torn}), after=b"\n")
        elif content and not content.endswith(b"\n"):
            with disk_errors("write", self.path):
                self._write_all(b"\n")
        self._must_mend = False


def _encoded(event: Event) -> bytes:
    try:
        text = json.dumps(event, allow_nan=False, ensure_ascii=False, default=_plain)
    except ValueError as error:
        raise ArchiveError(f"event '{event['event']}' holds a number that is not finite: {error}") from error
    # A lone surrogate, as in a file name that is not text, has no UTF-8 form.
    return text.encode("utf-8", errors="backslashreplace")


def _plain(value: Any) -> Any:
    """Turn values that JSON does not know into values that it knows."""
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, Path):
        return value.as_posix()
    raise TypeError(f"{type(value).__name__} cannot be written into the journal")


def read_journal(path: Path) -> JournalRead:
    """Read a whole journal.

    Raises:
        ArchiveError: it cannot be read, or a line before the last one is broken or missing; names file and line.
    """
    return parse_journal(read_bytes(path), path)


def read_as_far_as_whole(path: Path) -> tuple[JournalRead, str]:
    """Read a journal up to its first broken line, and say where that is; '' if no line is broken.

    Raises:
        ArchiveError: it cannot be read.
    """
    content = read_bytes(path)
    with suppress(ArchiveError):
        return parse_journal(content, path), ""
    lines = content.split(b"\n")
    # More lines never repair a break, so the first broken line can be found by halving.
    broken = bisect_left(range(len(lines) + 1), True, key=lambda count: bool(_trouble(lines[:count], path)))
    return parse_journal(b"\n".join(lines[: broken - 1]), path), _trouble(lines[:broken], path)


def _trouble(lines: Sequence[bytes], path: Path) -> str:
    try:
        parse_journal(b"\n".join(lines), path)
    except ArchiveError as error:
        return error.message
    return ""


def parse_journal(content: bytes, path: Path) -> JournalRead:
    """The events in the bytes of a journal; `path` is named in errors.

    A line is whole when its JSON object is complete, with or without its line end.
    """
    events: list[Event] = []
    torn: list[bytes] = []
    torn_at = 0
    breaks: list[str] = []
    links = Chain()
    for line_number, line in enumerate(content.split(b"\n"), start=1):
        event = _event(line)
        if event is not None:
            if torn and not _tells_of(event, torn):
                raise ArchiveError(
                    f"{path}:{torn_at}: this line is not a journal event, and events follow it", advice=_CHANGED
                )
            torn = []
            if problem := problem_of(event):
                raise ArchiveError(f"{path}:{line_number}: no run writes such an event: {problem}", advice=_CHANGED)
            _check_number(event, len(events) + 1, f"{path}:{line_number}")
            events.append(event)
            if trouble := links.follow(line):
                breaks.append(f"{path}:{line_number}: {trouble}")
        elif line.strip():
            torn_at = torn_at if torn else line_number
            torn.append(line)
    shown = _shown(torn) if torn else None
    return JournalRead(tuple(events), shown, tuple(breaks), links.unchained, links.last)


def _event(line: bytes) -> Event | None:
    try:
        event = json.loads(line.decode("utf-8"), parse_constant=_refuse, parse_float=_finite)
        if b"\\ud" in line.lower():  # half of a character, which cannot be written anywhere
            json.dumps(event, ensure_ascii=False).encode("utf-8")
    except (ValueError, RecursionError):
        return None
    if not (isinstance(event, dict) and all(name in event for name in _OWN_FIELDS)):
        return None
    return {name: value for name, value in event.items() if name not in chain.FIELDS}


def _refuse(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is not JSON")


def _finite(digits: str) -> float:
    """Without this, 1e999 would silently become infinite."""
    value = float(digits)
    return value if math.isfinite(value) else _refuse(digits)


def _tells_of(event: Event, torn: list[bytes]) -> bool:
    return event["event"] == TORN_LINE and event.get("torn") == _shown(torn)


def _shown(torn: list[bytes]) -> str:
    return b"\n".join(torn).decode("utf-8", errors="backslashreplace")


def _check_number(event: Event, expected: int, place: str) -> None:
    if event["number"] != expected:
        raise ArchiveError(
            f"{place}: event number {event['number']} is written where number {expected} belongs", advice=_CHANGED
        )
