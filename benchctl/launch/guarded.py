"""A real run goes on only while its guardians live."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace

from benchctl.archive.recorder import Recorder
from benchctl.errors import ArchiveError
from benchctl.guard.bench_lock import BenchLock
from benchctl.guard.confirmation import Confirmation
from benchctl.guard.guard import Guard
from benchctl.guard.guardian.guardianship import Guardianship
from benchctl.guard.guardian.report import last_confirmations
from benchctl.guard.safe_state import plan_of
from benchctl.guard.states import State
from benchctl.instruments.bench import Bench
from benchctl.instruments.interlock import Interlock


@contextmanager
def guarded(bench: Bench, interlock: Interlock, lock: BenchLock, guard: Guard, recorder: Recorder) -> Iterator[None]:
    """Keep guardians while the block runs.

    The guard calls them as soon as a part of the safe state does not confirm. If the block ends without a safe bench
    and they were not called, they are called then.

    Raises:
        GuardianLost: they cannot be started; nothing was energised. If they are lost later, the interlock opens.
    """
    lock.tell(str(recorder.folder.path.resolve()))
    report = recorder.folder.guardian
    links = {name: role.session.settings for name, role in bench.roles.items()}
    guardianship = Guardianship(plan_of(bench), interlock, report, lock.paths, tell=recorder.event, links=links)
    over = _HandOver(guardianship, bench, recorder, lambda: guard.is_hurried)
    try:
        guard.leave_to(over)
        recorder.event("guardians started", pids=guardianship.pids)
        yield
    finally:
        with suppress(ArchiveError):  # a run folder that is lost is in the outcome already
            _part_from(guardianship, over, guard, recorder)


class _HandOver:
    """Hands the bench to the guardian: its links first, because many instruments take only one at a time."""

    def __init__(
        self, guardianship: Guardianship, bench: Bench, recorder: Recorder, is_hurried: Callable[[], bool]
    ) -> None:
        self._guardianship = guardianship
        self._bench = bench
        self._recorder = recorder
        self._is_hurried = is_hurried

    def __call__(self, told: tuple[Confirmation, ...], wait_s: float) -> tuple[Confirmation, ...]:
        """Call the guardian, and return within `wait_s` with the result so far."""
        if not self._guardianship.is_called:
            self._bench.leave()
            self._guardianship.call(0.0)
            with suppress(ArchiveError):  # the journal may be what is lost
                self._recorder.event("guardian called")
        if self._guardianship.call(wait_s, self._is_hurried):
            return tuple(replace(each, confirmed=True, detail="") for each in told)
        heard = {(each.instrument, each.part): each for each in last_confirmations(self._recorder.folder.guardian)}
        return tuple(each if each.confirmed else heard.get((each.instrument, each.part), each) for each in told)


def _part_from(guardianship: Guardianship, over: _HandOver, guard: Guard, recorder: Recorder) -> None:
    if guard.state in {State.SAFE, State.ARMED}:  # armed: the run never began
        guardianship.dismiss()
        recorder.event("guardians dismissed")
        return
    if not guardianship.is_called:  # the program failed in the middle of the safe state
        over((), 0.0)
    guardianship.let_go()
