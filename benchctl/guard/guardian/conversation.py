"""The run's conversation with one guardian: orders, signs of life both ways, and how it ends."""

from __future__ import annotations

import subprocess
import threading
import time
from collections.abc import Callable
from contextlib import suppress

from benchctl.errors import GuardianLost
from benchctl.guard.guardian.orders import Orders, Word, lines_of
from benchctl.guard.guardian.start import start_process

# A guardian starts in some tenths of a second. A computer that needs many times as long cannot guard anything.
START_S = 5.0


class Guardian:
    """One guardian, from the start of its process to its end.

    Args:
        orders: what it needs to know.
        acts: called when it says that it makes the bench safe.
        ended: called with it when a guardian that was ready has ended, in a thread of its own.

    Raises:
        GuardianLost: its process cannot be started.
    """

    def __init__(self, orders: Orders, acts: Callable[[], None], ended: Callable[[Guardian], None]) -> None:
        self._acts = acts
        self._ended = ended
        self._heard = threading.Event()
        self._writing = threading.Lock()
        self.is_ready = self.is_acting = False
        self._process = start_process()
        self.answered_at = time.monotonic()
        threading.Thread(target=self._listen, name="guardian answers", daemon=True).start()
        with suppress(GuardianLost):  # whoever waits until it is ready is told
            self.say(orders.to_line())

    @property
    def pid(self) -> int:
        """Its process."""
        return self._process.pid

    def wait_until_ready(self) -> None:
        """Wait until it watches.

        Raises:
            GuardianLost: it does not become ready.
        """
        reason = ""
        if not self._heard.wait(START_S):
            reason = "the guardian does not start"
        elif not self.is_ready:
            reason = "the guardian ended as soon as it was started"
        if reason:
            self.kill()
            self.hang_up()
            self._process.wait()
            raise GuardianLost(reason)

    def say(self, line: str) -> None:
        """Send it a line.

        Raises:
            GuardianLost: it has ended.
        """
        assert self._process.stdin is not None
        try:
            with self._writing:
                self._process.stdin.write(line.encode("utf-8") + b"\n")
        except (OSError, ValueError) as error:
            raise GuardianLost(f"the guardian has ended ({error})") from error

    def hang_up(self) -> None:
        """Close the pipe. Unless the last word was `done`, the guardian acts."""
        assert self._process.stdin is not None
        with suppress(OSError), self._writing:
            self._process.stdin.close()

    def exit_code(self, wait_s: float) -> int | None:
        """How it ended; None if it has not within `wait_s`."""
        try:
            return self._process.wait(max(0.0, wait_s))
        except subprocess.TimeoutExpired:
            return None

    def kill(self) -> None:
        """Kill a guardian that does not answer."""
        self._process.kill()

    def _listen(self) -> None:
        assert self._process.stdout is not None
        with suppress(OSError):
            for word in lines_of(self._process.stdout.fileno()):
                self.answered_at = time.monotonic()
                self.is_ready = True
                self._heard.set()
                if word == Word.ACTING:
                    self.is_acting = True
                    self._acts()
        was_ready, self.is_ready = self.is_ready, False
        self._heard.set()
        self._process.stdout.close()
        self.hang_up()
        self.exit_code(START_S)  # the system keeps a process on its list until somebody has asked
        if was_ready:
            self._ended(self)
