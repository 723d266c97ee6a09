"""The run's side of its guardians: start them, send them signs of life, dismiss them, and stop if they are lost.

There are two, so that no single process's end leaves the bench without protection:

| what has died | what happens |
| --- | --- |
| the run, with or without one guardian | each guardian that is left notices at once; one of them acts (`turn.py`) |
| a guardian | the run notices at once and starts another; the other guardian is still there |
| both guardians | the run notices at once, ends, and makes the bench safe itself; it starts others for that time |
| all three | nobody is left |

A guardian that does not answer is killed, and then counts as dead. If a guardian acts, the run ends.

A real run must not go on without a guardian that answers. It must not go on either after a pause in which the guardians
may have started to act: it would switch on again what they have just switched off. So a run holds a lease. Each beat
renews it, every message to an instrument checks it, and when it has run out the interlock opens.
"""

from __future__ import annotations

import os
import tempfile
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from benchctl.errors import BenchctlError, GuardianLost
from benchctl.guard.guardian.conversation import Guardian
from benchctl.guard.guardian.orders import BEAT_S, PATIENCE_S, Orders, Word
from benchctl.guard.guardian.turn import LOOK_S
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.settings import LinkSettings
from benchctl.instruments.safe_part import SafePart

GUARDIANS = 2
# It ends before the guardians' patience does, by one beat.
LEASE_S = PATIENCE_S - BEAT_S
# Twice what a guardian allows the run: a guardian has nothing else to do than to answer.
ANSWER_S = 2 * PATIENCE_S
# How long a guardian may take to leave, before it is left to itself.
LEAVE_S = 5.0
# A guardian that was called and has finished has ended by then; others are not waited for.
LET_GO_S = 0.5
# If guardians are ended again and again, it is no accident, and sooner or later both are ended at the same time.
REPLACEMENTS = 5

Report = Callable[..., None]


class Guardianship:
    """Two guardians and what the run exchanges with them.

    Args:
        plan: the parts of the safe state.
        interlock: the run's; opened when the guardians are lost or the lease has run out.
        report: where the guardians write what they did.
        locks: the files that keep other runs off the bench.
        tell: writes an event into the journal.
        links: by the instrument's name, how its link behaves.

    Raises:
        GuardianLost: one cannot be started, or does not answer.
    """

    def __init__(
        self,
        plan: Sequence[SafePart],
        interlock: Interlock,
        report: Path,
        locks: Sequence[Path] = (),
        *,
        tell: Report,
        links: Mapping[str, LinkSettings] | None = None,
    ) -> None:
        self._interlock = interlock
        self._tell = tell
        self._over = threading.Event()
        self._changing = threading.RLock()
        self._replaced = 0
        self._is_called = False
        self._turn = _file_for_the_turn()
        self._orders = Orders(
            tuple(plan),
            str(report.absolute()),
            os.getpid(),
            str(self._turn),
            tuple(map(str, locks)),
            links=links or {},
        )
        self._guardians: list[Guardian] = []
        try:
            self._start()
        except GuardianLost:
            self._over.set()
            for guardian in self._guardians:
                guardian.kill()
            self.dismiss()
            raise
        self._renewed_at = time.monotonic()
        interlock.hold_to(self._lapse)
        threading.Thread(target=self._beat, name="guardian beats", daemon=True).start()

    @property
    def pids(self) -> list[int]:
        """The guardians' processes."""
        return [guardian.pid for guardian in self._guardians]

    def dismiss(self) -> None:
        """The bench is safe; the guardians leave without acting."""
        self._end(Word.DONE)
        until = time.monotonic() + LEAVE_S
        for guardian in self._guardians:
            guardian.exit_code(until - time.monotonic())
        self._turn.unlink(missing_ok=True)

    @property
    def is_called(self) -> bool:
        """Whether the guardians have been told to act."""
        return self._is_called

    def call(self, wait_s: float = LEAVE_S, is_given_up: Callable[[], bool] = lambda: False) -> bool:
        """The bench is not known to be safe: let a guardian act, unless it was called already. It goes on trying when
        this process has ended.

        Returns:
            Whether it had every confirmation within `wait_s` and before `is_given_up`.
        """
        if not self._is_called:
            self._is_called = True
            self._say(Word.CALL)
        until = time.monotonic() + wait_s
        while 0 not in (codes := self._exit_codes()) and None in codes and time.monotonic() < until:
            if is_given_up():
                break
            time.sleep(LOOK_S)
        return 0 in codes

    def let_go(self) -> None:
        """End the conversation with guardians that were called. The run ends, and they go on alone."""
        self._end()
        self.call(LET_GO_S)

    # -- the guardians -----------------------------------------------------------------------------------------

    def _start(self) -> None:
        with self._changing:
            for _ in range(GUARDIANS):
                self._guardians.append(self._another())
            for guardian in self._guardians:
                guardian.wait_until_ready()

    def _another(self) -> Guardian:
        return Guardian(self._orders, self._give_way, self._replace)

    def _replace(self, lost: Guardian) -> None:
        """Start another in its place. If it was the last one, the run ends, but has a guardian while it does."""
        if not (self._over.is_set() or self._is_guarded):
            self._interlock.open(GuardianLost("both guardians have ended"))
        with self._changing:  # one after the other, and none once the run parts from them
            if self._over.is_set():
                return
            try:
                self._count_replacement()
                anew = self._another()
                anew.wait_until_ready()
                self._guardians[self._guardians.index(lost)] = anew
                self._tell("guardian started anew", pid=anew.pid, instead_of=lost.pid)
            except BenchctlError as error:  # none can be had, or the journal cannot be written
                self._interlock.open(error)

    def _count_replacement(self) -> None:
        self._replaced += 1
        if self._replaced > REPLACEMENTS:
            raise GuardianLost(f"a guardian has ended, after {REPLACEMENTS} were started again")

    @property
    def _is_guarded(self) -> bool:
        return any(guardian.is_ready for guardian in self._guardians)

    def _give_way(self) -> None:
        if not self._over.is_set():
            self._interlock.open(GuardianLost("the guardian took over and made the bench safe"))

    def _end(self, *last_words: Word) -> None:
        """Hang up, after these words."""
        self._say(*last_words)
        for guardian in self._guardians:
            guardian.hang_up()

    def _say(self, *words: Word) -> None:
        """Send these words to each, and no more beats. A guardian that is just starting is waited for: it may be the
        only one.
        """
        self._over.set()
        with self._changing:
            for guardian in self._guardians:
                with suppress(GuardianLost):
                    for word in words:
                        guardian.say(word)

    def _exit_codes(self) -> list[int | None]:
        return [guardian.exit_code(0.0) for guardian in self._guardians]

    # -- signs of life -----------------------------------------------------------------------------------------

    def _beat(self) -> None:
        while not self._over.wait(BEAT_S):
            now_s = time.monotonic()
            lapsed = self._lapse()
            if lapsed is not None:
                self._interlock.open(lapsed)
                return
            for guardian in tuple(self._guardians):
                self._exchange(guardian, now_s)
            # When they were written, not when the writing was over: the process may have stood still in between.
            self._renewed_at = now_s

    def _exchange(self, guardian: Guardian, now_s: float) -> None:
        if now_s - guardian.answered_at > ANSWER_S and guardian.is_ready and not guardian.is_acting:
            guardian.kill()
            return
        with suppress(GuardianLost):  # whoever listens to it has heard the same
            guardian.say(Word.BEAT)

    def _lapse(self) -> GuardianLost | None:
        """Why nothing more may be sent to an instrument, or None."""
        if self._over.is_set():
            return None
        if not self._is_guarded:
            return GuardianLost("both guardians have ended")
        held_up_s = time.monotonic() - self._renewed_at
        if held_up_s <= LEASE_S:
            return None
        return GuardianLost(f"the run was delayed for {held_up_s:.1f} s, longer than its guardians wait")


def _file_for_the_turn() -> Path:
    """The path of the file for the turn, in a folder that is not on a disk if there is one: a disk may delay a
    write.
    """
    in_memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    try:
        descriptor, path = tempfile.mkstemp(prefix="guardian-", suffix=".turn", dir=in_memory)
    except OSError as error:
        raise GuardianLost(f"the guardians cannot be started: no temporary file ({error})") from error
    os.close(descriptor)
    return Path(path)
