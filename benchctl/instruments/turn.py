"""The right to talk to one instrument: one thread at a time, in the order in which they asked for it.

Without that order a thread that asks again and again, as the guard does of a slow instrument, would keep the others
from it for ever.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager

# How often a thread that waits on a virtual clock looks whether its turn has come.
LOOK_S = 0.02


class _Place:
    """A thread's place among those that wait."""

    def __init__(self, thread: int) -> None:
        self.thread = thread
        self.has_come = threading.Event()


class Turn:
    """A lock that is fair, and that its owner may take again.

    Args:
        sleep: waits on a virtual clock, where a thread that blocked would stop time; None in real time.
    """

    def __init__(self, sleep: Callable[[float], object] | None = None) -> None:
        self._sleep = sleep
        self._lock = threading.Lock()
        self._owner: int | None = None
        self._depth = 0
        self._waiting: deque[_Place] = deque()
        self._rests = False

    @property
    def rests(self) -> bool:
        """Whether the thread that has the turn sends nothing just now: it lets the instrument be quiet."""
        return self._rests

    def taken(self) -> Turn:
        """Have the turn while the block lasts: `with turn.taken():`."""
        return self

    def __enter__(self) -> None:
        self._acquire()

    def __exit__(self, *_: object) -> None:
        self._release()

    @contextmanager
    def resting(self) -> Iterator[None]:
        """While the block lasts, the thread that has the turn sends nothing."""
        self._rests = True
        try:
            yield
        finally:
            self._rests = False

    @contextmanager
    def taken_at_once(self, patience_s: float) -> Iterator[bool]:
        """For the safe state: have the turn before all that wait; gives whether it was to be had in time.

        A thread that rests is not waited for.
        """
        deadline = time.monotonic() + patience_s
        while not (is_ours := self._acquire_urgently()) and not self._rests and time.monotonic() < deadline:
            continue
        try:
            yield is_ours or self._rests
        finally:
            if is_ours:
                self._release()

    @contextmanager
    def taken_if_free(self) -> Iterator[bool]:
        """Have the turn if nobody has it; gives whether that was so."""
        is_ours = self._take(threading.get_ident())
        try:
            yield is_ours
        finally:
            if is_ours:
                self._release()

    def _take(self, thread: int) -> bool:
        with self._lock:
            if self._owner == thread or (self._owner is None and not self._waiting):
                self._owner = thread
                self._depth += 1
                return True
            return False

    def _acquire(self) -> None:
        thread = threading.get_ident()
        if self._take(thread):
            return
        place = _Place(thread)
        with self._lock:
            self._waiting.append(place)
            self._let_in()
        self._wait(place)

    def _wait(self, place: _Place) -> None:
        """Until the turn has come. An error in the waiting, such as a thread's end, leaves no place behind."""
        try:
            if self._sleep is None:
                place.has_come.wait()
            else:
                while not place.has_come.is_set():
                    self._sleep(LOOK_S)
        except BaseException:
            self._leave(place)
            raise

    def _acquire_urgently(self) -> bool:
        """Wait a moment at the head of those that wait."""
        thread = threading.get_ident()
        if self._take(thread):
            return True
        place = _Place(thread)
        with self._lock:
            self._waiting.appendleft(place)
            self._let_in()
        if place.has_come.wait(LOOK_S):
            return True
        return not self._gave_up(place)

    def _gave_up(self, place: _Place) -> bool:
        """Take a place back; False if its turn came at the last moment."""
        with self._lock:
            if place.has_come.is_set():
                return False
            self._waiting.remove(place)
            return True

    def _leave(self, place: _Place) -> None:
        if not self._gave_up(place):
            self._release()

    def _release(self) -> None:
        with self._lock:
            self._depth -= 1
            if self._depth == 0:
                self._owner = None
                self._let_in()

    def _let_in(self) -> None:
        """Give the turn to who waits first, if nobody has it."""
        if self._owner is None and self._waiting:
            place = self._waiting.popleft()
            self._owner, self._depth = place.thread, 1
            place.has_come.set()
