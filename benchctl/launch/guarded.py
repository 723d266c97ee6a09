"""A real run goes on only while a guardian stands behind it."""

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
    """Keep a guardian for as long as the block lasts; where it ends without a safe bench, the guardian acts.

    Raises:
        GuardianLost: it cannot be started; nothing was energised. One that is lost later opens the interlock.
    """
    lock.tell(str(recorder.folder.path.resolve()))
    guardianship = Guardianship(plan_of(bench), interlock, recorder.folder.guardian, lock.paths)
    try:
        recorder.event("guardian started", pid=guardianship.pid)
        yield
    finally:
        with suppress(ArchiveError):  # a run folder that is lost is in the outcome already
            _part_from(guardianship, guard, recorder)


def _part_from(guardianship: Guardianship, guard: Guard, recorder: Recorder) -> None:
    if guard.state in {State.SAFE, State.ARMED}:  # armed: the run never began
        guardianship.dismiss()
        recorder.event("guardian dismissed")
        return
    is_safe = guardianship.call(wait_s=0.0 if guard.is_hurried else LEAVE_S)
    recorder.event("guardian called", safe=is_safe)
