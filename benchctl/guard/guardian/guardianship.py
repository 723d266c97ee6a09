"""The run's side of its guardian: start it, give it signs of life, dismiss it, and stop where it is lost.

A real run must not go on without a guardian that answers. Nor may it go on after a pause in which the guardian may have
lost its patience, or it would switch on again what the guardian has just switched off. So a run holds a lease: each
beat renews it, every message to an instrument asks for it, and a lease that has run out opens the interlock.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from benchctl.errors import GuardianLost
from benchctl.guard.guardian.orders import BEAT_S, PATIENCE_S, Orders, Word, lines_of
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.safe_part import SafePart

# A guardian is up in a tenth of a second; a machine that needs fifty times that is in no state to guard anything.
START_S = 5.0
# It ends before the guardian's patience does, by one beat.
LEASE_S = PATIENCE_S - BEAT_S
# Twice what the guardian allows the run: it has nothing else to do than to answer.
ANSWER_S = 2 * PATIENCE_S
# How long a guardian may take to leave, before it is left to itself.
LEAVE_S = 5.0


class Guardianship:
    """A guardian process and the conversation with it.

    Args:
        plan: the parts of the safe state.
        interlock: the run's; opened when the guardian is lost or the lease has run out.
        report: where the guardian writes what it did.
        locks: the files that keep other runs off the bench.

    Raises:
        GuardianLost: it cannot be started, or does not answer.
    """

    def __init__(
        self, plan: Sequence[SafePart], interlock: Interlock, report: Path, locks: Sequence[Path] = ()
    ) -> None:
        self._interlock = interlock
        self._over = threading.Event()
        self._answered = threading.Event()
        self._stands = False
        self._renewed_at = self._answered_at = time.monotonic()
        self._process = _start()
        threading.Thread(target=self._listen, name="guardian answers", daemon=True).start()
        try:
            self._send(Orders(tuple(plan), str(report.absolute()), os.getpid(), tuple(map(str, locks))).to_line())
            self._wait_until_ready()
        except GuardianLost:
            self._process.kill()
            self._hang_up(LEAVE_S)
            raise
        interlock.hold_to(self._lapse)
        threading.Thread(target=self._beat, name="guardian beats", daemon=True).start()

    @property
    def pid(self) -> int:
        """The guardian's process."""
        return self._process.pid

    def dismiss(self) -> None:
        """The bench is safe; the guardian leaves without acting."""
        self._over.set()
        with suppress(GuardianLost):
            self._send(Word.DONE)
        self._hang_up(LEAVE_S)

    def call(self, wait_s: float = LEAVE_S) -> bool:
        """The bench is not known to be safe: let the guardian act. It tries on when this process has ended.

        Returns:
            Whether, within `wait_s`, it had every confirmation.
        """
        self._over.set()
        self._hang_up(wait_s)
        return self._process.returncode == 0

    # -- the conversation --------------------------------------------------------------------------------------

    def _wait_until_ready(self) -> None:
        if not self._answered.wait(START_S):
            raise GuardianLost("the guardian does not start")
        if not self._stands:
            raise GuardianLost("the guardian ended as soon as it was started")
        self._renewed_at = self._answered_at = time.monotonic()

    def _beat(self) -> None:
        while not self._over.wait(BEAT_S):
            now_s = time.monotonic()
            lapsed = self._lapse()
            if lapsed is None and now_s - self._answered_at > ANSWER_S:
                lapsed = GuardianLost("the guardian does not answer")
            try:
                if lapsed is not None:
                    raise lapsed
                self._send(Word.BEAT)
            except GuardianLost as lost:
                self._interlock.open(lost)
                return
            # When it was written, not when the writing was over: the process may have stood still in between.
            self._renewed_at = now_s

    def _listen(self) -> None:
        assert self._process.stdout is not None
        with suppress(OSError):
            for word in lines_of(self._process.stdout.fileno()):
                if word == Word.ACTING:
                    self._lose("the guardian took over and made the bench safe")
                self._stands = True
                self._answered_at = time.monotonic()
                self._answered.set()
        self._lose("the guardian has ended")
        self._answered.set()
        self._process.stdout.close()

    def _lose(self, reason: str) -> None:
        if self._stands and not self._over.is_set():
            self._interlock.open(GuardianLost(reason))

    def _lapse(self) -> GuardianLost | None:
        """Why nothing more may be sent to an instrument, or None."""
        held_up_s = time.monotonic() - self._renewed_at
        if self._over.is_set() or held_up_s <= LEASE_S:
            return None
        return GuardianLost(f"the run was held up for {held_up_s:.1f} s, longer than its guardian waits")

    def _send(self, line: str) -> None:
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(line.encode("utf-8") + b"\n")
        except (OSError, ValueError) as error:
            raise GuardianLost(f"the guardian has ended ({error})") from error

    def _hang_up(self, wait_s: float) -> None:
        assert self._process.stdin is not None
        with suppress(OSError):
            self._process.stdin.close()
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(wait_s)


def _start() -> subprocess.Popen[bytes]:
    """A process of its own group and session, so that what ends the run's terminal leaves it alone."""
    # -P: a file of the user's that bears the name of a module is not to be taken for it.
    command = [sys.executable, "-P", "-m", "benchctl.guard.guardian.process"]
    windows_flags = 0
    if sys.platform == "win32":
        windows_flags = subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW
    try:
        return subprocess.Popen(
            command,
            bufsize=0,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,  # means nothing to Windows, which has flags for it
            creationflags=windows_flags,
        )
    except OSError as error:
        raise GuardianLost(f"the guardian cannot be started: {error}") from error
