"""Ctrl-C, a closed terminal and a polite kill all open the interlock; the guard does the rest."""

from __future__ import annotations

import signal
import subprocess
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from benchctl.clock import RealClock
from benchctl.errors import OperatorStop
from benchctl.instruments.interlock import Interlock
from benchctl.watch.stopping import operator_can_stop
from tests.cli.files import TONE, sequence
from tests.faults.forking import begin

each_signal = pytest.mark.parametrize(
    "name", [name for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
)


def view(*, has_started: bool = True, is_asking: bool = False) -> Any:
    run = SimpleNamespace(interlock=Interlock(RealClock()))
    return SimpleNamespace(has_started=has_started, is_asking=is_asking, run=run)


@each_signal
def test_a_signal_opens_the_interlock_for_an_operators_stop_and_the_program_goes_on(name: str) -> None:
    watching = view()
    with operator_can_stop(watching):
        signal.raise_signal(getattr(signal, name))
        reason = watching.run.interlock.reason
    assert isinstance(reason, OperatorStop)
    assert name in str(reason) or "Ctrl-C" in str(reason)


@each_signal
def test_before_the_run_has_started_a_signal_ends_the_program(name: str) -> None:
    with pytest.raises(KeyboardInterrupt), operator_can_stop(view(has_started=False)):
        signal.raise_signal(getattr(signal, name))


def test_a_question_that_waits_for_enter_is_ended_as_well() -> None:
    asking = view(is_asking=True)
    with pytest.raises(KeyboardInterrupt), operator_can_stop(asking):
        signal.raise_signal(signal.SIGINT)
    assert isinstance(asking.run.interlock.reason, OperatorStop)


def test_the_stop_button_is_one_ctrl_c_however_often_it_is_pressed_and_from_whatever_thread() -> None:
    watching = view()
    with operator_can_stop(watching) as press:
        for _ in range(3):  # a second Ctrl-C would hurry the guard, which this view has none of
            pressing = threading.Thread(target=press)
            pressing.start()
            pressing.join()
        reason = watching.run.interlock.reason
    assert str(reason) == "stopped by the stop button of the live page"
    press()


def test_the_stop_button_ends_a_question_that_waits_for_enter() -> None:
    with pytest.raises(KeyboardInterrupt), operator_can_stop(view(is_asking=True)) as press:
        press()


@each_signal
def test_afterwards_signals_mean_what_they_meant_before(name: str) -> None:
    number = getattr(signal, name)
    before = signal.getsignal(number)
    with operator_can_stop(view()):
        assert signal.getsignal(number) != before
    assert signal.getsignal(number) == before


def test_a_run_that_is_told_to_end_ends_safe_with_exit_code_6(tmp_path: Path) -> None:
    """A real signal to a real process: the dry run holds its tone for hours that take it many seconds. That each signal
    opens the interlock is promised above; a terminal that closes is among the tests of killed runs."""
    file = sequence(tmp_path, TONE, ("  - power_off", "  - hold: {for: 20 h}\n  - power_off"))
    arguments = ["run", str(file), "--bench", "workshop", "--amplifier", "hx2150", "--dry-run"]
    process = begin(arguments, stdout=subprocess.PIPE, cwd=tmp_path)
    assert process.stdout is not None
    while "hold" not in process.stdout.readline():
        pass
    process.send_signal(signal.SIGTERM)
    printed, _ = process.communicate(timeout=60)
    assert process.returncode == 6
    assert "Ended: stopped by" in printed
    (journal,) = tmp_path.glob("runs/*/journal.jsonl")
    assert '"event": "safe state", "state": "safe"' in journal.read_text(encoding="utf-8")
