"""Ctrl-C, a closed terminal and a polite kill all mean the same: safe state, clean end."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from benchctl.cli.views import View
from benchctl.errors import OperatorStop

_SIGNALS = {"SIGINT": "Ctrl-C", "SIGTERM": "a request to end (SIGTERM)", "SIGHUP": "the closed terminal (SIGHUP)"}


@contextmanager
def operator_can_stop(view: View) -> Iterator[None]:
    """While the block lasts, these signals open the run's interlock; the guard does the rest."""

    def stop(number: int, _frame: FrameType | None) -> None:
        cause = _SIGNALS[signal.Signals(number).name]
        if view.has_started:
            view.run.interlock.open(OperatorStop(f"stopped by {cause}"))
        else:
            raise KeyboardInterrupt

    present = [getattr(signal, name) for name in _SIGNALS if hasattr(signal, name)]  # Windows has no SIGHUP
    before = {number: signal.signal(number, stop) for number in present}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
