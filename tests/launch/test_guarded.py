"""A real run has a guardian from before its first step until its bench is safe."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.clock import RealClock
from benchctl.errors import ArchiveError, GuardianLost
from benchctl.guard.bench_lock import BenchLock
from benchctl.guard.states import State
from benchctl.instruments.interlock import Interlock
from benchctl.launch import guarded as module
from benchctl.launch.guarded import guarded
from tests.faults.killing import wait_for


class Recorder:
    """Remembers the kinds of events; those in `refused` cannot be written."""

    def __init__(self, folder: Path, refused: tuple[str, ...] = ()) -> None:
        self.folder = RunFolder(folder)
        self.kinds: list[str] = []
        self._refused = refused

    def event(self, kind: str, **fields: Any) -> None:
        if kind in self._refused:
            raise ArchiveError(f"cannot write {kind}")
        self.kinds.append(kind)


def keep(recorder: Recorder, *, state: State = State.SAFE) -> Any:
    """A guarded block on a bench that has nothing to switch off, and a guard that ends in `state`."""
    bench: Any = SimpleNamespace(has=lambda role: False, leave=lambda: None, roles={})
    guard: Any = SimpleNamespace(state=state, is_hurried=False, leave_to=lambda hand_over: None)
    return guarded(bench, Interlock(RealClock()), BenchLock(()), guard, recorder)  # type: ignore[arg-type]


def told(folder: Path) -> str:
    """What the guardian has reported."""
    report = folder / "guardian.jsonl"
    return report.read_text("utf-8") if report.exists() else ""


def test_it_stands_before_the_block_and_is_dismissed_after_it(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path)
    with keep(recorder):
        assert recorder.kinds == ["guardians started"]
    assert recorder.kinds == ["guardians started", "guardians dismissed"]


def test_where_the_bench_is_not_known_to_be_safe_the_guardian_is_called(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path)
    with keep(recorder, state=State.UNSAFE):
        pass
    assert recorder.kinds == ["guardians started", "guardian called"]
    wait_for(lambda: "acting" in told(tmp_path), "the guardian's report")


def test_a_fault_in_the_middle_of_the_safe_state_calls_it_too(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path)
    with pytest.raises(ZeroDivisionError), keep(recorder, state=State.TRIPPING):
        _ = 1 / 0
    assert recorder.kinds == ["guardians started", "guardian called"]


def test_a_run_that_never_began_leaves_nothing_to_do(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path)
    with pytest.raises(KeyboardInterrupt), keep(recorder, state=State.ARMED):
        raise KeyboardInterrupt
    assert recorder.kinds == ["guardians started", "guardians dismissed"]


def test_no_guardian_no_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def lost(*_: Any, **__: Any) -> None:
        raise GuardianLost("the guardian does not start")

    monkeypatch.setattr(module, "Guardianship", lost)
    recorder = Recorder(tmp_path)
    with pytest.raises(GuardianLost), keep(recorder):
        pytest.fail("the run began")
    assert recorder.kinds == []


def test_a_journal_that_cannot_take_its_start_lets_no_run_begin(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError), keep(Recorder(tmp_path, ("guardians started",))):
        pytest.fail("the run began")


def test_a_run_folder_that_was_lost_meanwhile_is_told_by_the_outcome_and_not_once_more(tmp_path: Path) -> None:
    with keep(Recorder(tmp_path, ("guardians dismissed",))):
        pass
