"""Time, real or virtual.

A run has a handful of threads (runner, guard). On the bench they run on `RealClock`. In a dry run they run on
`VirtualClock`, a discrete-event clock: threads of the run register, exactly one of them runs at any time, and when
all of them sleep, time jumps to the earliest deadline. So two hours pass in seconds, and the order of events is the
same each time: by deadline, then by the order in which threads fell asleep.

A thread that talks to an instrument is not asleep, so an exchange takes no virtual time; simulated instruments read
`now()` and never sleep.
"""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Signal(Protocol):
    """A flag that is set once; a sleep that waits for it ends early."""

    def set(self) -> None:
        """Raise the flag."""

    def is_set(self) -> bool:
        """Whether the flag is up."""


class Clock(Protocol):
    """What the run knows of time."""

    def now(self) -> float:
        """Seconds since this clock started."""

    def wall(self) -> datetime:
        """The date and time that belong to `now()`, in UTC."""

    def signal(self) -> Signal:
        """A new flag that sleeps on this clock can wait for."""

    def sleep(self, seconds: float, until: Signal | None = None) -> bool:
        """Sleep; end early, with True, once `until` is set."""

    def start_thread(self, work: Callable[[], None], name: str) -> threading.Thread:
        """Start a thread of the run: a daemon that this clock counts while it lives."""


class RealClock:
    """Monotonic time of this machine."""

    def __init__(self) -> None:
        self._started = time.monotonic()
        self._started_wall = datetime.now(UTC)

    def now(self) -> float:
        return time.monotonic() - self._started

    def wall(self) -> datetime:
        return self._started_wall + timedelta(seconds=self.now())

    def signal(self) -> Signal:
        return threading.Event()

    def sleep(self, seconds: float, until: Signal | None = None) -> bool:
        event = until if isinstance(until, threading.Event) else threading.Event()
        return event.wait(max(0.0, seconds)) and until is not None

    def start_thread(self, work: Callable[[], None], name: str) -> threading.Thread:
        thread = threading.Thread(target=work, name=name, daemon=True)
        thread.start()
        return thread


# A dry run happens on a fixed day, so that what it writes is the same each time.
VIRTUAL_START = datetime(2026, 1, 1, 8, 0, tzinfo=UTC)


@dataclass(eq=False)
class _Sleeper:
    """A registered thread that waits for its turn."""

    deadline: float
    order: int
    until: _VirtualSignal | None
    turn: threading.Event = field(default_factory=threading.Event)

    def due(self, now: float) -> float:
        """When it may run: now if its signal is set, else at its deadline."""
        return now if self.until is not None and self.until.is_set() else self.deadline


class _VirtualSignal:
    """A flag of a virtual clock; sleepers that wait for it become due at the time it is set."""

    def __init__(self) -> None:
        self._up = False

    def set(self) -> None:
        self._up = True

    def is_set(self) -> bool:
        return self._up


class VirtualClock:
    """Discrete-event time for the threads that take part in it.

    The thread that makes the clock, or calls `take_part`, and each one started by `start_thread` take turns.
    """

    def __init__(self, start: datetime = VIRTUAL_START) -> None:
        self._now = 0.0
        self._start = start
        self._lock = threading.Lock()
        self._sleepers: list[_Sleeper] = []
        self._order = itertools.count()
        self._running: int | None = None  # identity of the one thread that runs

    def now(self) -> float:
        return self._now

    def wall(self) -> datetime:
        return self._start + timedelta(seconds=self._now)

    def signal(self) -> Signal:
        return _VirtualSignal()

    @contextmanager
    def take_part(self) -> Iterator[None]:
        """Make the calling thread one of the clock's own for as long as the block lasts."""
        with self._lock:
            idle = self._running is None and not self._sleepers
            if idle:
                self._running = threading.get_ident()
        if not idle:
            self._wait_turn(self._enqueue(self._now, None))
        try:
            yield
        finally:
            self._leave()

    def sleep(self, seconds: float, until: Signal | None = None) -> bool:
        if self._running != threading.get_ident():
            raise RuntimeError("only a thread that takes part in the virtual clock may sleep on it")
        signal = until if isinstance(until, _VirtualSignal) else None
        sleeper = self._enqueue(self._now + max(0.0, seconds), signal)
        self._hand_over()
        self._wait_turn(sleeper)
        return signal is not None and signal.is_set()

    def start_thread(self, work: Callable[[], None], name: str) -> threading.Thread:
        sleeper = self._enqueue(self._now, None)

        def body() -> None:
            self._wait_turn(sleeper)
            try:
                work()
            finally:
                self._leave()

        thread = threading.Thread(target=body, name=name, daemon=True)
        thread.start()
        return thread

    def _enqueue(self, deadline: float, until: _VirtualSignal | None) -> _Sleeper:
        with self._lock:
            sleeper = _Sleeper(deadline, next(self._order), until)
            self._sleepers.append(sleeper)
            return sleeper

    def _wait_turn(self, sleeper: _Sleeper) -> None:
        sleeper.turn.wait()
        self._running = threading.get_ident()

    def _leave(self) -> None:
        self._hand_over()

    def _hand_over(self) -> None:
        """Wake the sleeper that is due first; ties go to the one that fell asleep first."""
        with self._lock:
            self._running = None
            if not self._sleepers:
                return
            first = min(self._sleepers, key=lambda sleeper: (sleeper.due(self._now), sleeper.order))
            self._sleepers.remove(first)
            self._now = max(self._now, first.due(self._now))
        first.turn.set()
