"""A real run goes on only while guardians stand behind it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress

from benchctl.archive.recorder import Recorder
from benchctl.errors import ArchiveError
from benchctl.guard.bench_lock import BenchLock
from benchctl.guard.guard import Guard
from benchctl.guard.guardian.guardianship import LEAVE_S, Guardianship
from benchctl.guard.safe_state import plan_of
from benchctl.guard.states import State
from benchctl.instruments.bench import Bench
from benchctl.instruments.interlock import Interlock


@contextmanager
def guarded(bench: Bench, interlock: Interlock, lock: BenchLock, guard: Guard, recorder: Recorder) -> Iterator[None]:
    """Keep guardians for as long as the block lasts; where it ends without a safe bench, one of them acts.

    Raises:
        GuardianLost: they cannot be started; nothing was energised. That they are lost later opens the interlock.
    """
    lock.tell(str(recorder.folder.path.resolve()))
    report = recorder.folder.guardian
    guardianship = Guardianship(plan_of(bench), interlock, report, lock.paths, tell=recorder.event)
    try:
        recorder.event("guardians started", pids=guardianship.pids)
        yield
    finally:
        with suppress(ArchiveError):  # a run folder that is lost is in the outcome already
            _part_from(guardianship, guard, recorder)


def _part_from(guardianship: Guardianship, guard: Guard, recorder: Recorder) -> None:
    if guard.state in {State.SAFE, State.ARMED}:  # armed: the run never began
        guardianship.dismiss()
        recorder.event("guardians dismissed")
        return
    is_safe = guardianship.call(wait_s=0.0 if guard.is_hurried else LEAVE_S)
    recorder.event("guardian called", safe=is_safe)
