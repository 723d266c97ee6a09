"""Ctrl-C, a closed terminal and SIGTERM all mean the same: safe state, then a clean end. A second and third one shorten
the wait.
"""

from __future__ import annotations

import itertools
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from benchctl.cli.shown.views import View
from benchctl.errors import OperatorStop

_SIGNALS = {
    "SIGINT": "Ctrl-C",
    "SIGTERM": "a request to end (SIGTERM)",
    "SIGHUP": "the closed terminal (SIGHUP)",
    "SIGBREAK": "Ctrl-Break, or the closed console",
}


@contextmanager
def operator_can_stop(view: View) -> Iterator[None]:
    """While the block runs, these signals open the run's interlock; the guard does the rest.

    The second signal ends the wait for confirmations. The third does not even wait for the run's last lines. In both
    cases a real run leaves the rest to its guardian.
    """
    received = itertools.count(1)

    def stop(number: int, _frame: FrameType | None) -> None:
        cause = _SIGNALS[signal.Signals(number).name]
        if not view.has_started:
            raise KeyboardInterrupt
        view.run.interlock.open(OperatorStop(f"stopped by {cause}"))
        times = next(received)
        if times > 1:
            view.run.guard.hurry()
        if times > 2 or view.is_asking:  # a question waits for Enter and knows of no interlock
            raise KeyboardInterrupt

    # Windows has no SIGHUP, and nobody else has SIGBREAK.
    present = [getattr(signal, name) for name in _SIGNALS if hasattr(signal, name)]
    before = {number: signal.signal(number, stop) for number in present}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
