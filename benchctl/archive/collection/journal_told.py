"""What a journal tells of a run as a whole, read line by line in a fraction of a millisecond.

Only the lines that tell something of the whole are parsed; of the others the kind, the number and the time are read,
and their hashes are followed. So the length of a journal costs time, but never memory.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchctl.archive.files import disk_errors, opened_plain
from benchctl.archive.journal.chain import Chain, is_whole
from benchctl.archive.journal.events import (
    FIGURES,
    INPUTS_KEPT,
    NEW_PARTS,
    NOTE,
    RUN_ENDED,
    RUN_STARTED,
    STEP_FINISHED,
    TRIP,
)
from benchctl.errors import ArchiveError
from benchctl.measure.method import FIRST_METHOD

# Longer than the text of any document that a run keeps; a line without an end must not fill the memory.
LONGEST_LINE_BYTES = 64_000_000

_TORN = b"torn_line"  # the kind of event that tells of a torn line before it
_HEAD = re.compile(rb'\{"number": (\d+), "time_s": ([-+.0-9eE]+), "wall": "[^"]*", "event": "([^"\\]*)"')
_METHOD = re.compile(rb'"method": (\d+)')
_WHOLE_KINDS = frozenset({RUN_STARTED, INPUTS_KEPT, NOTE, RUN_ENDED, TRIP, *NEW_PARTS})
_NO_FIGURES = b'"no_figures"'

Event = Mapping[str, Any]


@dataclass
class Told:
    """What a journal tells of the whole run.

    Attributes:
        events: the parsed ones, in order.
        last_s: the time of the last event.
        unmeasured: how many steps lack figures.
        methods: by which the figures were computed.
        analyses: how many events have figures.
        changed: the first line that is not as the run wrote it, with file and line; what follows is read all the same.
        broken: a line that is no event, with file and line; nothing that follows is read.
        is_torn: whether a crash cut its last line off.
    """

    events: list[Event] = field(default_factory=list)
    last_s: float = 0.0
    unmeasured: int = 0
    methods: set[int] = field(default_factory=set)
    analyses: int = 0
    changed: str = ""
    broken: str = ""
    is_torn: bool = False

    def last_of(self, *kinds: str) -> Event | None:
        """The last event of these kinds."""
        return next((event for event in reversed(self.events) if event["event"] in kinds), None)


def read_told(journal: Path) -> Told:
    """Read a journal.

    Raises:
        ArchiveError: it cannot be read.
    """
    told = Told()
    reading = _Reading(journal, told)
    with disk_errors("read", journal), opened_plain(journal) as file:
        for number, line in enumerate(iter(lambda: file.readline(LONGEST_LINE_BYTES + 1), b""), start=1):
            if len(line) > LONGEST_LINE_BYTES:
                raise ArchiveError(f"{journal}:{number}: this line is longer than any that a run writes")
            reading.take(number, line)
            if told.broken:
                break
    told.is_torn = reading.torn_at > 0
    return told


@dataclass
class _Reading:
    journal: Path
    told: Told
    chain: Chain = field(default_factory=Chain)
    torn_at: int = 0
    count: int = 0

    def take(self, line_number: int, line: bytes) -> None:
        """Note what one line tells, or what is wrong with it."""
        if not line.strip():
            return
        head = _HEAD.match(line)
        if head is None or not (line.endswith(b"}\n") or is_whole(line)):
            self.torn_at = self.torn_at or line_number
            return
        if self.torn_at and head[3] != _TORN:
            self._refuse(self.torn_at, "this line is not a journal event, and events follow it")
            return
        self.torn_at = 0
        self.count += 1
        if int(head[1]) != self.count:
            number = f"event number {int(head[1])} is written where number {self.count} belongs"
            self._refuse(line_number, number)
            return
        if (trouble := self.chain.follow(line)) and not self.told.changed:
            self.told.changed = f"{self.journal}:{line_number}: {trouble}"
        self._note(head[3].decode("utf-8", errors="replace"), line, line_number)
        if not math.isfinite(time_s := float(head[2])):
            self._refuse(line_number, "its time is not finite")
            return
        self.told.last_s = time_s

    def _note(self, kind: str, line: bytes, line_number: int) -> None:
        if kind == FIGURES:
            self.told.analyses += 1
            self.told.methods.add(_method_in(line))
        elif kind in _WHOLE_KINDS or (kind == STEP_FINISHED and _NO_FIGURES in line):
            event = _parsed(line)
            if event is None:
                self._refuse(line_number, "this line is not a journal event")
            elif kind == STEP_FINISHED:
                self.told.unmeasured += bool(event.get("no_figures"))
            else:
                self.told.events.append(event)

    def _refuse(self, line_number: int, trouble: str) -> None:
        self.told.broken = f"{self.journal}:{line_number}: {trouble}"


def _method_in(line: bytes) -> int:
    """It stands near the end of its line; folders from before there was a number have none."""
    found = _METHOD.findall(line, max(0, line.rfind(b'"method": ')))
    return int(found[0]) if found else FIRST_METHOD


def _parsed(line: bytes) -> Event | None:
    try:
        event = json.loads(line)
        if b"\\ud" in line.lower():  # half of a character, which cannot be written anywhere
            json.dumps(event, ensure_ascii=False).encode("utf-8")
    except (ValueError, RecursionError):
        return None
    return event if isinstance(event, dict) else None
