"""The run's side of its guardians: no run without them, and none after a pause in which they may have acted."""

from __future__ import annotations

import os
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from benchctl.clock import RealClock
from benchctl.errors import GuardianLost, OperatorStop
from benchctl.guard.guardian import conversation, guardianship
from benchctl.guard.guardian.conversation import Guardian
from benchctl.guard.guardian.guardianship import ANSWER_S, LEASE_S, Guardianship
from benchctl.guard.guardian.orders import BEAT_S, PATIENCE_S
from benchctl.instruments.interlock import Interlock
from tests.guard.switches import DEADLINE_S, Switch

Begin = Callable[[], Guardianship]
Told = list[dict[str, Any]]


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
def told() -> Told:
    """What the journal was told."""
    return []


@pytest.fixture
def begin(supply: Switch, interlock: Interlock, told: Told, tmp_path: Path) -> Iterator[Begin]:
    """Starts guardians for this run; none is left behind."""
    begun: list[Guardianship] = []

    def tell(event: str, **fields: Any) -> None:
        told.append({"event": event, **fields})

    def start() -> Guardianship:
        begun.append(Guardianship([supply.part], interlock, tmp_path / "guardian.jsonl", tell=tell))
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


def calls_of(name: str, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The guardians for which this is called from now on, by their processes."""
    called: list[int] = []
    method = getattr(Guardian, name)

    def note(self: Guardian) -> None:
        called.append(self.pid)
        method(self)

    monkeypatch.setattr(Guardian, name, note)
    return called


def wait_until(condition: Callable[[], object]) -> None:
    end = time.monotonic() + DEADLINE_S
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.01)


def wait_until_open(interlock: Interlock) -> str:
    assert RealClock().sleep(DEADLINE_S, until=interlock.opened)
    return str(interlock.reason)


def is_gone(pid: int) -> bool:
    """Whether the system has let go of its number as well: it has ended, and somebody has asked how."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


@pytest.fixture
def turn(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """The file by which the guardians take turns."""
    path = tmp_path / "turn"
    path.touch()
    monkeypatch.setattr(guardianship, "_file_for_the_turn", lambda: path)
    return path


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_dismissed_guardian_leaves_without_a_trace(
    begin: Begin, supply: Switch, interlock: Interlock, turn: Path, tmp_path: Path
) -> None:
    keeping = begin()
    pids = keeping.pids
    keeping.dismiss()
    assert all(is_gone(pid) for pid in pids)
    assert not turn.exists()
    assert supply.is_on
    assert interlock.reason is None
    interlock.check()
    assert not (tmp_path / "guardian.jsonl").exists()


def test_a_guardian_that_is_called_makes_the_bench_safe_and_says_so(begin: Begin, supply: Switch) -> None:
    assert begin().call() is True
    assert not supply.is_on


def test_a_guardian_that_is_called_in_a_hurry_acts_while_nobody_waits(begin: Begin, supply: Switch) -> None:
    assert begin().call(DEADLINE_S, lambda: True) is False
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


# Each adds its number to a file. Of the second kind, the one that comes first gets ready.
NEVER_READY = "import os, time; print(os.getpid(), file=open('{pids}', 'a')); time.sleep(600)"
ONE_IS_READY = (
    "import os, sys, time; print(os.getpid(), file=open('{pids}', 'a')); orders = sys.stdin.readline();"
    "print('ready', flush=True) if int(open('{pids}').readline()) == os.getpid() else None; time.sleep(600)"
)


@pytest.mark.skipif(sys.platform == "win32", reason="a script stands in for the guardian")
@pytest.mark.parametrize("program", [NEVER_READY, ONE_IS_READY], ids=["neither", "one"])
def test_guardians_that_do_not_get_ready_are_not_waited_for_forever_and_none_is_left_behind(  # noqa: PLR0917 - fixtures
    program: str, begin: Begin, interlock: Interlock, turn: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(conversation, "START_S", 1.0)
    started = tmp_path / "pids"
    stand_in(program.format(pids=started).replace("'", '"'), monkeypatch, tmp_path)
    with pytest.raises(GuardianLost, match="does not start"):
        begin()
    for thread in threading.enumerate():
        if thread.name == "guardian answers":  # who would start another in the place of one that has ended
            thread.join(DEADLINE_S)
    pids = [int(line) for line in started.read_text().split()]
    assert len(pids) == 2
    wait_until(lambda: all(is_gone(pid) for pid in pids))
    assert not turn.exists()
    assert interlock.reason is None, "no run has begun that could end"


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_guardian_that_stands_still_does_not_hold_up_whoever_dismisses_it(
    begin: Begin, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guardianship, "LEAVE_S", 0.1)
    keeping = begin()
    os.kill(keeping.pids[0], signal.SIGSTOP)
    try:
        parting = threading.Thread(target=keeping.dismiss, daemon=True)
        parting.start()
        parting.join(DEADLINE_S)
        assert not parting.is_alive()
    finally:
        os.kill(keeping.pids[0], signal.SIGKILL)


def test_guardians_that_were_called_and_have_little_left_to_do_are_waited_for(
    begin: Begin, supply: Switch, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guardianship, "LET_GO_S", DEADLINE_S)
    keeping = begin()
    keeping.call(0.0)
    keeping.let_go()
    assert not supply.is_on


def test_guardians_that_were_called_are_let_go_of_and_try_on_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The output takes no notice of the first two commands, and guardians try once a second."""
    stuck = Switch("supply", [], sticks=2)
    keeping = Guardianship([stuck.part], Interlock(RealClock()), tmp_path / "report", tell=lambda *_, **__: None)
    try:
        assert not keeping.is_called
        assert keeping.call(0.0) is False
        assert keeping.is_called
        hung_up = calls_of("hang_up", monkeypatch)
        keeping.let_go()
        assert stuck.is_on, "it was not waited for"
        assert set(hung_up) >= set(keeping.pids)
        wait_until(lambda: not stuck.is_on)
    finally:
        keeping.dismiss()
        stuck.close()


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere there is no such folder")
def test_the_file_by_which_they_take_turns_lies_on_no_disk_and_is_held_open_by_nobody() -> None:
    """A disk may keep whoever writes waiting, and the guardians open it themselves."""
    before = len(os.listdir("/proc/self/fd"))
    path = guardianship._file_for_the_turn()
    assert path.parent == Path("/dev/shm")
    assert path.exists()
    assert len(os.listdir("/proc/self/fd")) == before
    path.unlink()


def test_without_room_for_that_file_no_run_begins(begin: Begin, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(**_: object) -> None:
        raise OSError("no room left")

    monkeypatch.setattr(tempfile, "mkstemp", fail)
    with pytest.raises(GuardianLost, match="no temporary file"):
        begin()


def test_there_are_two_and_no_more(begin: Begin) -> None:
    first, second = begin().pids
    assert first != second


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_whichever_guardian_is_killed_another_stands_in_its_place_and_the_run_goes_on(
    begin: Begin, interlock: Interlock, told: Told, supply: Switch
) -> None:
    keeping = begin()
    for place in (0, 1):
        before = keeping.pids
        os.kill(before[place], signal.SIGKILL)
        wait_until(lambda place=place, before=before: keeping.pids[place] != before[place])  # type: ignore[misc]
        assert keeping.pids[1 - place] == before[1 - place]
        wait_until(lambda place=place: len(told) > place)  # type: ignore[misc]
        assert told[place] == {
            "event": "guardian started anew",
            "pid": keeping.pids[place],
            "instead_of": before[place],
        }
    interlock.check()
    assert supply.is_on


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_one_that_was_started_anew_guards_as_well_as_the_first(begin: Begin, supply: Switch, told: Told) -> None:
    keeping = begin()
    os.kill(keeping.pids[0], signal.SIGKILL)
    wait_until(lambda: told)
    os.kill(keeping.pids[1], signal.SIGSTOP)
    try:
        assert keeping.call(DEADLINE_S) is True, "without waiting for the one that stands still"
        assert not supply.is_on
    finally:
        os.kill(keeping.pids[1], signal.SIGKILL)


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_without_both_nothing_more_of_the_run_is_sent_and_yet_there_is_one_to_call(
    begin: Begin, interlock: Interlock, supply: Switch, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guardianship, "BEAT_S", DEADLINE_S)  # it is heard at once, not at the next beat
    keeping = begin()
    for pid in keeping.pids:
        os.kill(pid, signal.SIGSTOP)  # so that neither is there when the other is missed
    for pid in keeping.pids:
        os.kill(pid, signal.SIGKILL)
    assert "both guardians have ended" in wait_until_open(interlock)
    with pytest.raises(GuardianLost):
        interlock.check()
    assert keeping.call() is True
    assert not supply.is_on


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_guardian_that_somebody_asks_to_end_makes_the_bench_safe_and_ends_the_run(
    begin: Begin, interlock: Interlock, supply: Switch
) -> None:
    keeping = begin()
    os.kill(keeping.pids[0], signal.SIGTERM)
    assert "the guardian took over and made the bench safe" in wait_until_open(interlock)
    assert supply.told_off.wait(DEADLINE_S)


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_guardian_that_no_longer_answers_is_ended_and_another_started(
    begin: Begin, interlock: Interlock, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeping = begin()
    frozen, other = keeping.pids
    os.kill(frozen, signal.SIGSTOP)
    wait_until(lambda: told)
    assert keeping.pids[1] == other
    assert told[0]["instead_of"] == frozen
    interlock.check()


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_where_another_cannot_be_started_the_run_ends(
    begin: Begin, interlock: Interlock, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeping = begin()
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    os.kill(keeping.pids[0], signal.SIGKILL)
    assert "cannot be started" in wait_until_open(interlock)


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_guardians_that_are_ended_again_and_again_end_the_run(
    begin: Begin, interlock: Interlock, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guardianship, "REPLACEMENTS", 1)
    keeping = begin()
    os.kill(keeping.pids[0], signal.SIGKILL)
    wait_until(lambda: told)
    os.kill(keeping.pids[0], signal.SIGKILL)
    assert "after 1 were started again" in wait_until_open(interlock)


@pytest.mark.skipif(sys.platform == "win32", reason="a script stands in for the guardian")
def test_guardians_that_end_by_themselves_end_the_run(
    begin: Begin, interlock: Interlock, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    stand_in('import sys; sys.stdin.readline(); print("ready", flush=True)', monkeypatch, tmp_path)
    with suppress(GuardianLost):  # so soon that it never stood
        begin()
        assert "ended" in wait_until_open(interlock)


def test_beats_keep_both_sides_content(begin: Begin, interlock: Interlock, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty beats, at limits that a single missing one would pass."""
    monkeypatch.setattr(guardianship, "BEAT_S", 0.01)
    beats: list[str] = []
    enough = threading.Event()
    say = Guardian.say

    def count(self: Guardian, line: str) -> None:
        say(self, line)
        beats.append(line)
        if len(beats) > 20:
            enough.set()

    monkeypatch.setattr(Guardian, "say", count)
    begin()
    assert enough.wait(DEADLINE_S)
    assert interlock.reason is None


def test_each_beat_renews_the_lease_however_long_a_run_lasts(
    begin: Begin, interlock: Interlock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten leases long, on a clock that goes on by one beat for every two that are said, one to each guardian."""
    now_s = [time.monotonic()]
    for module in (guardianship, conversation):
        monkeypatch.setattr(module, "time", SimpleNamespace(monotonic=lambda: now_s[0], sleep=time.sleep))
    monkeypatch.setattr(guardianship, "BEAT_S", 0.001)
    end_s, over = now_s[0] + 10 * LEASE_S, threading.Event()
    say = Guardian.say

    def go_on(self: Guardian, line: str) -> None:
        say(self, line)
        now_s[0] += BEAT_S / 2
        if now_s[0] > end_s or interlock.opened.is_set():
            over.set()

    monkeypatch.setattr(Guardian, "say", go_on)
    begin()
    assert over.wait(DEADLINE_S)
    assert interlock.reason is None


def test_after_a_pause_that_may_have_cost_the_guardian_its_patience_nothing_more_is_sent(
    begin: Begin, interlock: Interlock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first check after the pause already refuses; it need not wait for a thread that finds out."""
    monkeypatch.setattr(guardianship, "BEAT_S", DEADLINE_S)  # as if the beats' thread had not had its turn yet
    begin()
    interlock.check()
    monkeypatch.setattr(guardianship, "LEASE_S", 0.0)
    with pytest.raises(GuardianLost, match="delayed"):
        interlock.check()
    assert isinstance(interlock.reason, GuardianLost)


def test_the_runs_lease_ends_before_its_guardians_lose_patience_and_outlasts_some_late_beats() -> None:
    """The run counts from before it writes a beat, a guardian from when it reads it. One beat more is for a message
    that is on its way to an instrument."""
    assert LEASE_S + BEAT_S <= PATIENCE_S
    assert LEASE_S >= 4 * BEAT_S
    assert ANSWER_S >= 2 * PATIENCE_S, "a guardian is not given up before it could have given the run up"


def test_the_reason_why_a_run_ends_stays_what_it_was(begin: Begin, interlock: Interlock) -> None:
    keeping = begin()
    interlock.open(OperatorStop("stopped by Ctrl-C"))
    keeping.dismiss()
    assert isinstance(interlock.reason, OperatorStop)
