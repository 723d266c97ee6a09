"""The run's interlock: once it is open, nothing but the safe state reaches an instrument."""

from __future__ import annotations

import threading
from collections.abc import Callable

from benchctl.clock import Clock, Signal
from benchctl.errors import BenchctlError, OperatorStop


class Interlock:
    """Closed while the run may go on; opened once, for one reason, by the guard, an operator or an error.

    Sessions ask it before every write, so no command of the runner can be sent after the safe state.
    """

    def __init__(self, clock: Clock) -> None:
        self.opened = clock.signal()
        self._clock = clock
        self._opened_s: float | None = None
        self._lock = threading.RLock()  # a signal handler may open it while its own thread opens it
        self._reason: BenchctlError | None = None
        self._operator_stop: OperatorStop | None = None
        self._told: list[Signal] = []
        self._lapse: Callable[[], BenchctlError | None] | None = None

    @property
    def reason(self) -> BenchctlError | None:
        """Why it was opened; None while it is closed."""
        return self._reason

    @property
    def opened_s(self) -> float | None:
        """When it was opened; None while it is closed."""
        return self._opened_s

    @property
    def operator_stop(self) -> OperatorStop | None:
        """Set if a person has asked the run to end, before or after it was opened."""
        return self._operator_stop

    def open(self, reason: BenchctlError) -> bool:
        """Open it. The first reason is kept; returns whether this was the first."""
        with self._lock:
            if isinstance(reason, OperatorStop):
                self._operator_stop = self._operator_stop or reason
            if self._reason is not None:
                return False
            self._reason, self._opened_s = reason, self._clock.now()
        for signal in (self.opened, *self._told):
            signal.set()
        return True

    def tell(self, signal: Signal) -> None:
        """Also set this signal when it opens."""
        self._told.append(signal)
        if self._reason is not None:
            signal.set()

    def hold_to(self, lapse: Callable[[], BenchctlError | None]) -> None:
        """Let every check also ask `lapse`; an answer opens the interlock."""
        self._lapse = lapse

    def check(self) -> None:
        """Raise the reason if the interlock is open."""
        lapsed = self._lapse() if self._lapse is not None and self._reason is None else None
        if lapsed is not None:
            self.open(lapsed)
        if self._reason is not None:
            raise self._reason
