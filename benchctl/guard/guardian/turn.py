"""Which of two guardians acts.

Both hear at the same time that the run has died, and many an instrument takes one link at a time. So they take turns.
The turn is a lock on a small file that both have open: the system gives it to one of them, whichever comes first, and
takes it back when that one ends, however it ends.

| the one that has the turn | the other |
| --- | --- |
| acts, and writes into the file again and again | waits |
| has acted, and writes what came of it | gets the turn, reads that, and leaves it at that |
| dies before that | gets the turn, and acts |
| stands still, so that what is in the file stays as it is for `PATIENCE_S` | acts without the turn |

A file that cannot be used keeps nobody waiting: both act then.
"""

from __future__ import annotations

import json
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from benchctl.file_lock import try_lock, unlock
from benchctl.guard.guardian.orders import BEAT_S, PATIENCE_S

# How often the one that waits looks; what is on stays on for so much longer where the other dies in its turn.
LOOK_S = 0.02
_LONGEST_BYTES = 4096


class Turn:
    """One guardian's hold on the file."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: BinaryIO | None = None
        self._times: Counter[str] = Counter()
        with suppress(OSError):
            self._file = path.open("r+b", buffering=0)

    def act_once(self, reason: str, act: Callable[[], bool]) -> bool:
        """Act for this reason, unless the other guardian does; whether the bench is safe then."""
        self._times[reason] += 1  # a run that hangs may do so again
        deed = f"{reason} ({self._times[reason]})"
        is_ours = self._wait()
        try:
            came_of_it = self._told().get(deed) if is_ours else None
            if came_of_it is None:
                with self._signs_of_life():
                    came_of_it = act()
                self._write({deed: came_of_it})
            return came_of_it
        finally:
            if is_ours:
                self._let_go()

    def leave(self) -> None:
        """The run is over: remove the file. The other guardian has it open, and needs it no less for that."""
        with suppress(OSError):
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
            if time.monotonic() - since_s > PATIENCE_S:
                return False
        return True

    def _let_go(self) -> None:
        with suppress(OSError):
            if self._file is not None:
                unlock(self._file)

    @contextmanager
    def _signs_of_life(self) -> Iterator[None]:
        over = threading.Event()

        def give() -> None:
            times = 0
            while not over.is_set():
                times += 1
                self._write({"acting": times})
                over.wait(BEAT_S)

        thread = threading.Thread(target=give, name="signs of life", daemon=True)
        with suppress(RuntimeError):  # out of threads: the other guardian will act too
            thread.start()
        try:
            yield
        finally:
            over.set()
            if thread.ident is not None:
                thread.join()

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
        with suppress(OSError):
            if self._file is not None:
                self._file.seek(0)
                self._file.truncate()
                self._file.write(json.dumps(told).encode("utf-8"))
