"""Ctrl-C, a closed terminal, SIGTERM and the stop button of the live page all mean the same: safe state, then a clean
end. A second and third signal shorten the wait.
"""

from __future__ import annotations

import _thread
import itertools
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Protocol

from benchctl.errors import OperatorStop
from benchctl.runner.acting.run import Run

_SIGNALS = {
    "SIGINT": "Ctrl-C",
    "SIGTERM": "a request to end (SIGTERM)",
    "SIGHUP": "the closed terminal (SIGHUP)",
    "SIGBREAK": "Ctrl-Break, or the closed console",
}
_BUTTON = "the stop button of the live page"


class Watched(Protocol):
    """A run as whoever watches it knows it: `run` may be asked for once it has started."""

    @property
    def has_started(self) -> bool: ...

    @property
    def is_asking(self) -> bool: ...

    @property
    def run(self) -> Run: ...


class _Stopper:
    """What a person's wish to stop does to a run."""

    def __init__(self, view: Watched) -> None:
        self._view = view
        self._received = itertools.count(1)
        self._pressed = threading.Lock()
        self._cause = ""

    def on_signal(self, number: int, _frame: FrameType | None) -> None:
        cause, self._cause = self._cause or _SIGNALS[signal.Signals(number).name], ""
        view = self._view
        if not view.has_started:
            raise KeyboardInterrupt
        view.run.interlock.open(OperatorStop(f"stopped by {cause}"))
        times = next(self._received)
        if times > 1:
            view.run.guard.hurry()
        if times > 2 or view.is_asking:  # a question waits for Enter and knows of no interlock
            raise KeyboardInterrupt

    def press(self) -> None:
        """As one Ctrl-C, from any thread. Pressing again changes nothing: nobody presses a button harder to hurry."""
        if self._pressed.acquire(blocking=False):
            self._cause = _BUTTON
            _interrupt_main_thread()

    def is_over(self) -> None:
        """From now on the button does nothing."""
        self._pressed.acquire(blocking=False)


def _interrupt_main_thread() -> None:
    """As Ctrl-C does it: also a question that waits for Enter is interrupted."""
    if hasattr(signal, "pthread_kill"):
        signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)
    else:  # Windows
        _thread.interrupt_main(signal.SIGINT)


@contextmanager
def operator_can_stop(view: Watched) -> Iterator[Callable[[], None]]:
    """While the block runs, these signals open the run's interlock; the guard does the rest. Yields what a stop button
    does.

    The second signal ends the wait for confirmations. The third does not even wait for the run's last lines. In both
    cases a real run leaves the rest to its guardian.
    """
    stopper = _Stopper(view)
    # Windows has no SIGHUP, and nobody else has SIGBREAK.
    present = [getattr(signal, name) for name in _SIGNALS if hasattr(signal, name)]
    before = {number: signal.signal(number, stopper.on_signal) for number in present}
    try:
        yield stopper.press
    finally:
        stopper.is_over()
        for number, handler in before.items():
            signal.signal(number, handler)
