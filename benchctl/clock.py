"""Time, real or virtual.

A run has a handful of threads (runner, guard). On the bench they run on `RealClock`. In a dry run they run on
`VirtualClock`, a discrete-event clock: threads of the run register, exactly one of them runs at any time, and when
all of them sleep, time jumps to the earliest deadline. So two hours pass in seconds, and the order of events is the
same each time: by deadline, then by the order in which threads fell asleep.

A thread that talks to an instrument is not asleep, so an exchange takes no virtual time; simulated instruments read
`now()` and never sleep. A command that has no answer may still be under way when its sender falls asleep, so the server
of the instruments is called before time jumps: `before_jumps`.
"""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
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


class _RealSignal:
    """A flag of a real clock; a signal handler may set it while its own thread waits for it.

    threading.Event would deadlock there: its `wait` and its `set` take the same lock. Here there is one plain lock,
    held until the flag is set; each thread that then gets it releases it for the next one.
    """

    def __init__(self) -> None:
        self._up = False
        self._gate = threading.Lock()
        self._gate.acquire()

    def set(self) -> None:
        if not self._up:
            self._up = True
            self._open_gate()

    def is_set(self) -> bool:
        return self._up

    def wait(self, seconds: float) -> bool:
        """Wait for the flag; returns whether it is up."""
        if not self._up and self._gate.acquire(timeout=min(seconds, threading.TIMEOUT_MAX)):
            self._open_gate()
        return self._up

    def _open_gate(self) -> None:
        with suppress(RuntimeError):  # another thread was quicker
            self._gate.release()


class RealClock:
    """Monotonic time of this machine; it begins at `elapsed_s`, the time that a resumed run had reached."""

    def __init__(self, elapsed_s: float = 0.0) -> None:
        self._started = time.monotonic() - elapsed_s
        self._started_wall = datetime.now(UTC) - timedelta(seconds=elapsed_s)

    def now(self) -> float:
        return time.monotonic() - self._started

    def wall(self) -> datetime:
        return self._started_wall + timedelta(seconds=self.now())

    def signal(self) -> Signal:
        return _RealSignal()

    def sleep(self, seconds: float, until: Signal | None = None) -> bool:
        if isinstance(until, _RealSignal):
            return until.wait(max(0.0, seconds))
        time.sleep(max(0.0, seconds))
        return False

    def start_thread(self, work: Callable[[], None], name: str) -> threading.Thread:
        thread = threading.Thread(target=work, name=name, daemon=True)
        thread.start()
        return thread


# A dry run has a fixed date, so that what it writes is the same each time.
VIRTUAL_START = datetime(2026, 1, 1, 8, 0, tzinfo=UTC)


class _VirtualSignal:
    """A flag of a virtual clock; a sleeper that waits for it is due as soon as it is set."""

    def __init__(self) -> None:
        self._up = False

    def set(self) -> None:
        self._up = True

    def is_set(self) -> bool:
        return self._up


@dataclass(eq=False)
class _Sleeper:
    """A thread of the run that waits for its turn."""

    deadline: float
    order: int
    until: _VirtualSignal | None
    turn: threading.Lock = field(default_factory=threading.Lock)  # held until it is this thread's turn

    def __post_init__(self) -> None:
        self.turn.acquire()

    def due(self, now: float) -> float:
        return now if self.until is not None and self.until.is_set() else max(now, self.deadline)


class VirtualClock:
    """Discrete-event time for the threads that take part in it: `take_part`, or started by `start_thread`."""

    def __init__(self, start: datetime = VIRTUAL_START, elapsed_s: float = 0.0) -> None:
        self._now = elapsed_s
        self._start = start
        self._lock = threading.Lock()
        self._sleepers: list[_Sleeper] = []
        self._order = itertools.count()
        self._occupied = False  # a thread runs, or has been given its turn
        self._runner: int | None = None  # identity of the thread whose turn it is
        self._settle: Callable[[], None] = lambda: None

    def before_jumps(self, settle: Callable[[], None]) -> None:
        """Call `settle` each time before time moves; it returns once everything that was sent is done."""
        self._settle = settle

    def now(self) -> float:
        return self._now

    def wall(self) -> datetime:
        return self._start + timedelta(seconds=self._now)

    def signal(self) -> Signal:
        return _VirtualSignal()

    @contextmanager
    def take_part(self) -> Iterator[None]:
        """Make the calling thread one of the clock's threads while the block lasts."""
        with self._lock:
            must_wait = self._occupied
            sleeper = self._new_sleeper(self._now, None) if must_wait else None
            self._occupied = True
        if sleeper is not None:
            self._wait_turn(sleeper)
        self._runner = threading.get_ident()
        try:
            yield
        finally:
            self._hand_over()

    def sleep(self, seconds: float, until: Signal | None = None) -> bool:
        self._must_have_turn()
        signal = until if isinstance(until, _VirtualSignal) else None
        with self._lock:
            sleeper = self._new_sleeper(self._now + max(0.0, seconds), signal)
        self._hand_over()
        self._wait_turn(sleeper)
        return signal is not None and signal.is_set()

    def start_thread(self, work: Callable[[], None], name: str) -> threading.Thread:
        self._must_have_turn()
        with self._lock:
            sleeper = self._new_sleeper(self._now, None)

        def take_turns() -> None:
            self._wait_turn(sleeper)
            try:
                work()
            finally:
                self._hand_over()

        thread = threading.Thread(target=take_turns, name=name, daemon=True)
        thread.start()
        return thread

    def _must_have_turn(self) -> None:
        if self._runner != threading.get_ident():
            raise RuntimeError("only a thread that takes part in the virtual clock may wait on it")

    def _new_sleeper(self, deadline: float, until: _VirtualSignal | None) -> _Sleeper:
        sleeper = _Sleeper(deadline, next(self._order), until)
        self._sleepers.append(sleeper)
        return sleeper

    def _wait_turn(self, sleeper: _Sleeper) -> None:
        sleeper.turn.acquire()
        self._runner = threading.get_ident()

    def _hand_over(self) -> None:
        """Give the turn to the sleeper that is due first; ties go to the one that fell asleep first."""
        with self._lock:
            self._runner = None
            self._occupied = bool(self._sleepers)
            if not self._sleepers:
                return
            first = min(self._sleepers, key=lambda sleeper: (sleeper.due(self._now), sleeper.order))
            self._sleepers.remove(first)
            if first.due(self._now) > self._now:
                self._settle()
            self._now = first.due(self._now)
        first.turn.release()
