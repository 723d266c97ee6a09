"""The operator's second signal waits for no more confirmations, the third for nothing at all."""

from __future__ import annotations

import signal
import threading
from types import SimpleNamespace
from typing import Any

import pytest

from benchctl.clock import RealClock
from benchctl.errors import OperatorStop
from benchctl.instruments.interlock import Interlock
from benchctl.watch.stopping import operator_can_stop


class Guard:
    """Remembers that it was told to hurry."""

    def __init__(self) -> None:
        self.hurried = threading.Event()

    def hurry(self) -> None:
        self.hurried.set()


def view() -> Any:
    run = SimpleNamespace(interlock=Interlock(RealClock()), guard=Guard())
    return SimpleNamespace(has_started=True, is_asking=False, run=run)


def test_the_second_signal_hurries_and_the_first_does_not() -> None:
    watching = view()
    with operator_can_stop(watching):
        signal.raise_signal(signal.SIGINT)
        assert not watching.run.guard.hurried.is_set()
        signal.raise_signal(signal.SIGTERM)
    assert watching.run.guard.hurried.is_set()
    assert "Ctrl-C" in str(watching.run.interlock.reason)


def test_the_third_signal_ends_whatever_the_program_is_stuck_in() -> None:
    watching = view()
    with operator_can_stop(watching):
        signal.raise_signal(signal.SIGINT)
        signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert isinstance(watching.run.interlock.reason, OperatorStop)
