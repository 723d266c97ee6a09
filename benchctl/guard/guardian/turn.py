"""Which of two guardians acts.

Both hear at the same time that the run has died, and many an instrument takes one link at a time. So they take turns.
The turn is a lock on a small file that both have open: the system gives it to one of them, whichever comes first, and
takes it back when that one ends, however it ends.

| the one that has the turn | the other |
| --- | --- |
| acts, and writes into the file again and again | waits |
| has acted, and writes what came of it | gets the turn, reads that, and leaves it at that |
| dies before that | gets the turn, and acts |
| stands still, so that what is in the file stays as it is for `STILL_S` | acts without the turn |

A file that cannot be used keeps nobody waiting: both act then.
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

# How often the one that waits looks; what is on stays on for so much longer where the other dies in its turn.
LOOK_S = 0.02
# One that lives writes so often, and counts as standing still after five times that. On a busy machine that may be
# wrong. Then both act, which costs a line in the report, and a second attempt where an instrument takes one link.
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
        # Beforehand: when it is time to act, a busy machine may take long to begin a thread.
        with suppress(RuntimeError):  # out of threads: the other guardian will act too
            threading.Thread(target=self._give_signs, name="signs of life", daemon=True).start()

    def act_once(self, reason: str, act: Callable[[], bool]) -> bool:
        """Act for this reason, unless the other guardian does; whether the bench is safe then."""
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
        """The run is over: remove the file. The other guardian has it open, and needs it no less for that."""
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
        """Wait for the turn; False where it cannot be had and one acts without."""
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
