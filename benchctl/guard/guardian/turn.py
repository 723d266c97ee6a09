"""Decides which of two guardians acts.

Both notice at the same time that the run has died, and many instruments take one link at a time. So they take turns.
The turn is a lock on a small file that both have open. The system gives it to the first one that asks, and takes it
back when that process ends, however it ends.

| the one that has the turn | the other |
| --- | --- |
| acts, and writes into the file again and again | waits |
| has acted, and writes the result | gets the turn, reads the result, and does nothing more |
| dies before that | gets the turn, and acts |
| stops, so that the file does not change for `STILL_S` | acts without the turn |

If the file cannot be used, nobody waits: both act.
"""

from __future__ import annotations

import json
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import BinaryIO

from benchctl.file_lock import try_lock, unlock

# How often the waiting guardian checks. If the other dies in its turn, outputs stay on for so much longer.
LOOK_S = 0.02
# A working guardian writes this often, and counts as stopped after five times that. On a busy computer that may be
# wrong. Then both act, which costs one more line in the report, and a second attempt with an instrument that takes one
# link.
SIGN_S = 0.1
STILL_S = 0.5
_LONGEST_BYTES = 4096


class Turn:
    """One guardian's hold on the file."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: BinaryIO | None = None
        self._times: Counter[str] = Counter()
        self._acts = threading.Event()
        self._has_left = False
        self._writing = threading.Lock()
        with suppress(OSError):
            self._file = path.open("r+b", buffering=0)
        # The thread is started early: when it is time to act, a busy computer may take long to start one.
        with suppress(RuntimeError):  # out of threads: the other guardian will act too
            threading.Thread(target=self._give_signs, name="signs of life", daemon=True).start()

    def act_once(self, reason: str, act: Callable[[], bool]) -> bool:
        """Act for this reason, unless the other guardian does. Returns whether the bench is safe then."""
        self._times[reason] += 1  # a run that hangs may do so again
        deed = f"{reason} ({self._times[reason]})"
        is_ours = self._wait()
        try:
            came_of_it = self._told().get(deed) if is_ours else None
            if came_of_it is None:
                came_of_it = self._do(act)
                self._write({deed: came_of_it})
            return came_of_it
        finally:
            if is_ours:
                self._let_go()

    def leave(self) -> None:
        """The run is over: remove the file. The other guardian has it open and can still use it."""
        self._has_left = True
        self._acts.set()
        with self._writing, suppress(OSError):
            if self._file is not None:
                self._file.close()
            self._path.unlink()

    def __enter__(self) -> Turn:
        return self

    def __exit__(self, *_: object) -> None:
        self.leave()

    def _wait(self) -> bool:
        """Wait for the turn. Returns False if it cannot be had, and this guardian acts without it."""
        if self._file is None:
            return False
        content, since_s = self._read(), time.monotonic()
        while not try_lock(self._file):
            time.sleep(LOOK_S)
            before, content = content, self._read()
            if content != before:
                since_s = time.monotonic()
            if time.monotonic() - since_s > STILL_S:
                return False
        return True

    def _let_go(self) -> None:
        with suppress(OSError):
            if self._file is not None:
                unlock(self._file)

    def _do(self, act: Callable[[], bool]) -> bool:
        self._acts.set()
        try:
            return act()
        finally:
            self._acts.clear()

    def _give_signs(self) -> None:
        for times in count():
            self._acts.wait()
            with self._writing:
                if self._has_left:
                    return
                if self._acts.is_set():  # what came of it is not written over
                    self._put({"acting": times})
            time.sleep(SIGN_S)

    def _told(self) -> dict[str, bool]:
        try:
            told = json.loads(self._read())
        except ValueError:
            return {}
        return told if isinstance(told, dict) else {}

    def _read(self) -> bytes:
        try:
            if self._file is not None:
                self._file.seek(0)
                return self._file.read(_LONGEST_BYTES)
        except OSError:
            pass  # as if nothing were there: both act
        return b""

    def _write(self, told: dict[str, int]) -> None:
        with self._writing:
            self._put(told)

    def _put(self, told: dict[str, int]) -> None:
        with suppress(OSError):
            if self._file is not None:
                self._file.seek(0)
                self._file.truncate()
                self._file.write(json.dumps(told).encode("utf-8"))
