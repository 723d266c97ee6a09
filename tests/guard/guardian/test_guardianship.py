"""The run's side of its guardian: no run without one, and none after a pause in which it may have acted."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from benchctl.clock import RealClock
from benchctl.errors import GuardianLost, OperatorStop
from benchctl.guard.guardian import guardianship
from benchctl.guard.guardian.guardianship import Guardianship
from benchctl.instruments.interlock import Interlock
from tests.guard.switches import DEADLINE_S, Switch

Begin = Callable[[], Guardianship]


@pytest.fixture
def supply() -> Iterator[Switch]:
    """An output that is on."""
    switch = Switch("supply", [])
    yield switch
    switch.close()


@pytest.fixture
def interlock() -> Interlock:
    """The run's, closed."""
    return Interlock(RealClock())


@pytest.fixture
def begin(supply: Switch, interlock: Interlock, tmp_path: Path) -> Iterator[Begin]:
    """Starts a guardian for this run; none is left behind."""
    begun: list[Guardianship] = []

    def start() -> Guardianship:
        begun.append(Guardianship([supply.part], interlock, tmp_path / "guardian.jsonl"))
        return begun[-1]

    yield start
    for each in begun:
        each.dismiss()


def stand_in(program: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Put another program in the guardian's place."""
    fake = tmp_path / "fake.sh"
    fake.write_text(f"#!/bin/sh\nexec {sys.executable} -c '{program}'\n")
    fake.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(fake))


def wait_until_open(interlock: Interlock) -> str:
    assert RealClock().sleep(DEADLINE_S, until=interlock.opened)
    return str(interlock.reason)


def test_a_dismissed_guardian_leaves_without_a_trace(
    begin: Begin, supply: Switch, interlock: Interlock, tmp_path: Path
) -> None:
    begin().dismiss()
    assert supply.is_on
    assert interlock.reason is None
    interlock.check()
    assert not (tmp_path / "guardian.jsonl").exists()


def test_a_guardian_that_is_called_makes_the_bench_safe_and_says_so(begin: Begin, supply: Switch) -> None:
    assert begin().call() is True
    assert not supply.is_on


def test_a_guardian_that_is_called_in_a_hurry_acts_while_nobody_waits(begin: Begin, supply: Switch) -> None:
    assert begin().call(wait_s=0.0) is False
    assert supply.told_off.wait(DEADLINE_S)


@pytest.mark.skipif(sys.platform == "win32", reason="a script stands in for the guardian")
@pytest.mark.parametrize("program", ["pass", "raise SystemExit(3)"])
def test_a_guardian_that_does_not_stand_lets_no_run_begin(
    program: str, begin: Begin, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    stand_in(program, monkeypatch, tmp_path)
    with pytest.raises(GuardianLost):
        begin()


def test_a_guardian_that_cannot_be_started_lets_no_run_begin(begin: Begin, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    with pytest.raises(GuardianLost, match="cannot be started"):
        begin()


@pytest.mark.skipif(sys.platform == "win32", reason="a script stands in for the guardian")
def test_a_guardian_that_never_gets_ready_is_not_waited_for_forever(
    begin: Begin, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(guardianship, "START_S", 0.2)
    stand_in("import time; time.sleep(600)", monkeypatch, tmp_path)
    with pytest.raises(GuardianLost, match="does not start"):
        begin()


@pytest.mark.skipif(sys.platform == "win32", reason="a script stands in for the guardian")
def test_a_guardian_that_no_longer_answers_ends_the_run(
    begin: Begin, interlock: Interlock, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(guardianship, "ANSWER_S", 0.1)
    monkeypatch.setattr(guardianship, "BEAT_S", 0.05)
    stand_in('import sys; print(sys.argv and "ready", flush=True); sys.stdin.read()', monkeypatch, tmp_path)
    begin()
    assert "does not answer" in wait_until_open(interlock)


@pytest.mark.skipif(sys.platform == "win32", reason="a script stands in for the guardian")
def test_a_guardian_that_ends_by_itself_ends_the_run(
    begin: Begin, interlock: Interlock, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    stand_in('import sys; sys.stdin.readline(); print("ready", flush=True)', monkeypatch, tmp_path)
    begin()
    assert "ended" in wait_until_open(interlock)


def test_beats_keep_both_sides_content(begin: Begin, interlock: Interlock, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty beats, at limits that a single missing one would pass."""
    monkeypatch.setattr(guardianship, "BEAT_S", 0.01)
    beats: list[str] = []
    enough = threading.Event()
    send = Guardianship._send

    def count(self: Guardianship, line: str) -> None:
        send(self, line)
        beats.append(line)
        if len(beats) > 20:
            enough.set()

    monkeypatch.setattr(Guardianship, "_send", count)
    begin()
    assert enough.wait(DEADLINE_S)
    assert interlock.reason is None


def test_after_a_pause_that_may_have_cost_the_guardian_its_patience_nothing_more_is_sent(
    begin: Begin, interlock: Interlock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first check after the pause already refuses; it need not wait for a thread that finds out."""
    monkeypatch.setattr(guardianship, "BEAT_S", DEADLINE_S)  # as if the beats' thread had not had its turn yet
    begin()
    interlock.check()
    monkeypatch.setattr(guardianship, "LEASE_S", 0.0)
    with pytest.raises(GuardianLost, match="held up"):
        interlock.check()
    assert isinstance(interlock.reason, GuardianLost)


def test_the_reason_why_a_run_ends_stays_what_it_was(begin: Begin, interlock: Interlock) -> None:
    keeping = begin()
    interlock.open(OperatorStop("stopped by Ctrl-C"))
    keeping.dismiss()
    assert isinstance(interlock.reason, OperatorStop)
