"""What a guardian reports when it acts: lines in the run folder, and messages on the terminal if there still is one."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

from benchctl.archive.journal.chain import last_hash, sealed
from benchctl.file_lock import try_lock
from benchctl.guard.confirmation import Confirmation, all_confirmed
from benchctl.outlet import outputs_that_never_fail, wait_for_outputs

# What is not off yet is tried again; a terminal that has stopped must not delay that.
PATIENCE_S = 0.5
_RED, _PLAIN = "\x1b[1;31m", "\x1b[0m"
# A run that was killed leaves its panel on the terminal, which would go on saying that a signal is on: back to the
# usual screen, with a cursor (xterm's private modes 1047 and 25). On a terminal that shows no panel it does nothing.
_USUAL_SCREEN = "\x1b[?1047l\x1b[?25h"


class Report:
    """Adds to the report. No error here may keep the guardian from its work."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def acting(self, reason: str) -> None:
        """The guardian begins to make the bench safe."""
        self._add("acting", reason=reason)
        _say(f"guardian: {reason}; making the bench safe", first=_USUAL_SCREEN)

    def alarm(self, confirmation: Confirmation) -> None:
        """A part has failed or is late; attempts go on."""
        _say(f"guardian: {confirmation.alarm}", alarming=True)

    def acted(self, confirmations: Sequence[Confirmation], *, then: str) -> None:
        """The result; `then` says what the guardian does if the bench is not safe."""
        is_safe = all_confirmed(confirmations)
        self._add("safe" if is_safe else "unsafe", instruments=[asdict(each) for each in confirmations])
        if is_safe:
            _say("guardian: the bench is safe, every instrument confirms it")
            return
        missing = "; ".join(str(each) for each in confirmations if not each.confirmed)
        _say(f"guardian: NOT SAFE, switch off by hand: {missing} ({then})", alarming=True)

    def _add(self, event: str, **fields: object) -> None:
        wall = datetime.now(UTC).isoformat(timespec="milliseconds")
        body = json.dumps({"wall": wall, "event": event, **fields}).encode("ascii")
        with suppress(OSError), self._path.open("a+b", buffering=0) as file:
            _wait_for(file)  # each line is sealed with the one before: no two guardians may add one at a time
            file.seek(0)
            written = file.read()
            line, _ = sealed(body, last_hash(written))
            cut_off = b"" if written.endswith(b"\n") or not written else b"\n"
            file.write(cut_off + line + b"\n")
            os.fsync(file.fileno())


def last_confirmations(path: Path) -> Sequence[Confirmation]:
    """What the guardian reported last about each part; empty if there is no such report."""
    try:
        lines = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
        told = next(line["instruments"] for line in reversed(lines) if "instruments" in line)
        return [Confirmation(**each) for each in told]
    except (OSError, ValueError, KeyError, TypeError, StopIteration):
        return []


def _wait_for(file: BinaryIO) -> None:
    """Wait until no other guardian writes, but not for long: it may have stopped."""
    until = time.monotonic() + PATIENCE_S
    while not try_lock(file) and time.monotonic() < until:
        time.sleep(0.01)


def _say(words: str, *, alarming: bool = False, first: str = "") -> None:
    """`first` is for a terminal only."""
    with outputs_that_never_fail():  # the terminal may be closed or stand still, or there never was one
        wait_for_outputs(PATIENCE_S)
        is_terminal = sys.stderr.isatty()
        shown = f"{_RED}{words}{_PLAIN}" if alarming and is_terminal else words
        sys.stderr.write(f"{first if is_terminal else ''}{shown}\n")
        sys.stderr.flush()
