"""A session at the bench: the run that `benchctl manual` starts, in a thread, at the desk of a program.

The run's thread does everything that is done to an instrument, so its guard, its limits and its record of conditions
hold for a program as they do for keys. The program's thread hands over errands and waits.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path
from time import monotonic
from typing import Generic, TypeVar

from benchctl.errors import BenchctlError, OperatorStop, UsageError
from benchctl.launch import run as launch
from benchctl.python.watching import Ask, Tell, Watcher
from benchctl.runner.acting.desk import Readings, Wish
from benchctl.runner.acting.run import Run
from benchctl.runner.steps.by_hand.bench_in_hand import BenchInHand

_T = TypeVar("_T")

# How often a thread that waits looks whether the session is over, or has a question.
POLL_S = 0.05
_NOT_OPEN = "the bench is not open; use it in a 'with' block, or call its open()"


class _Errand(Generic[_T]):
    """Something to be done to the bench, and what came of it."""

    def __init__(self, work: Callable[[BenchInHand], _T]) -> None:
        self._work = work
        self._result: list[_T] = []
        self._error: BaseException | None = None
        self.is_done = threading.Event()

    def __call__(self, bench: BenchInHand) -> None:
        """Do it. A wrong argument leaves the bench as it is; every other error is one of the session too."""
        try:
            self._result.append(self._work(bench))
        except UsageError as error:
            self._error = error
        except BaseException as error:
            self._error = error
            raise
        finally:
            self.is_done.set()

    def outcome(self) -> _T:
        if self._error is not None:
            raise self._error
        return self._result[0]


class _Desk:
    """Where the run's thread finds what the program wants."""

    def __init__(self) -> None:
        self._wishes: deque[Wish] = deque()
        self._ends = False
        self.is_present = False
        self.readings = Readings()
        self.is_ready = threading.Event()

    def ask_for(self, wish: Wish) -> None:
        self._wishes.append(wish)

    def end(self) -> None:
        self._ends = True

    def wishes(self) -> Sequence[Wish]:
        self.is_ready.set()
        if self._ends:
            return (Wish("end"),)
        if self._wishes:
            return (self._wishes.popleft(),)
        return (Wish("present"),) if self.is_present else ()

    def show(self, readings: Readings) -> None:
        self.readings = readings


class _Relay(Watcher):
    """Passes the run's questions on to the program's thread, where a notebook can ask its user."""

    def __init__(self, tell: Tell | None, ask: Ask | None) -> None:
        super().__init__(tell, self._relayed if ask is not None else None)
        self._person = ask
        self._question: str | None = None
        self._answers: deque[str] = deque()
        self.gives_up = threading.Event()

    def _relayed(self, question: str) -> str:
        self._question = question
        while not self._answers:
            if self.gives_up.wait(POLL_S) or self.run.interlock.reason is not None:
                raise OperatorStop(f"stopped while this was asked: {question}")
        return self._answers.popleft()

    def pass_on(self) -> None:
        """Ask the person, if there is a question."""
        question, self._question = self._question, None
        if question is not None and self._person is not None:
            self._answers.append(self._person(question))


class Session:
    """One session; `begin`, `do` and `finish` are called from the program's thread."""

    def __init__(  # noqa: PLR0917 - what a run is started with
        self,
        documents: launch.Documents,
        dry_run: bool,
        accepted: str,
        out: Path,
        tell: Tell | None,
        ask: Ask | None,
    ) -> None:
        self.desk = _Desk()
        self._relay = _Relay(tell, ask)
        self._over = threading.Event()
        self._error: BaseException | None = None
        self.result: launch.Result | None = None

        def perform() -> None:
            try:
                self.result = launch.run(
                    documents, self._relay, out=out, dry_run=dry_run, accepted=accepted, desk=self.desk
                )
            except BaseException as error:  # noqa: BLE001 - raised in the program's thread
                self._error = error
            finally:
                self._over.set()

        # A daemon, so that a program that ends without a word is not kept; see `OpenedBench`.
        self._thread = threading.Thread(target=perform, name="session at the bench", daemon=True)

    @property
    def is_over(self) -> bool:
        """Whether the run has ended, for whatever reason."""
        return self._over.is_set()

    @property
    def run(self) -> Run:
        """The run, once it has started.

        Raises:
            UsageError: the bench is not open.
        """
        if not self._relay.has_started:
            raise UsageError(_NOT_OPEN)
        return self._relay.run

    def begin(self) -> None:
        """Open the bench; returns once it obeys.

        Raises:
            BenchctlError: as `launch.run` does; nothing was energised.
        """
        self._thread.start()
        self._await(self.desk.is_ready)

    def do(self, work: Callable[[BenchInHand], _T]) -> _T:
        """Have it done by the run's thread.

        Raises:
            UsageError: an argument is wrong; the bench is as it was.
            MeasurementError: a record cannot give what was asked of it; the signal is off.
            BenchctlError: what has ended the session; everything is being switched off.
        """
        errand = _Errand(work)
        self._raise_if_over()
        self.desk.ask_for(Wish("act", act=errand))
        self._await(errand.is_done)
        return errand.outcome()

    def wait(self, seconds: float) -> None:
        """Let time pass; somebody is there meanwhile.

        Raises:
            BenchctlError: what has ended the session, or that it has not begun.
        """
        self._raise_if_over()
        ends_s = monotonic() + seconds
        self.desk.is_present = True
        try:
            while (left_s := ends_s - monotonic()) > 0.0:
                if self._over.wait(min(left_s, POLL_S)):
                    break
        finally:
            self.desk.is_present = False
        self._raise_if_over()

    def finish(self, because: OperatorStop | None = None) -> None:
        """End the session, at once if there is a reason, and wait until everything was told to be off.

        A Ctrl-C meanwhile ends the wait for confirmations; the guardians of the run then do the rest.

        Raises:
            KeyboardInterrupt: it was pressed; the session is over all the same.
        """
        if because is not None and self._relay.has_started:
            self.run.interlock.open(because)
        self.desk.end()
        interrupted: KeyboardInterrupt | None = None
        while self._thread.is_alive():
            try:
                self._thread.join(POLL_S)
                self._relay.pass_on()
            except KeyboardInterrupt as pressed:
                interrupted = pressed
                self._relay.gives_up.set()
                if self._relay.has_started:
                    self.run.guard.hurry()
        if interrupted is not None:
            raise interrupted

    def why_over(self) -> BaseException:
        """What has ended it."""
        if self._error is not None:
            return self._error
        ended: BenchctlError | None = None if self.result is None else self.result.outcome.error
        return ended or UsageError("the session at the bench is over", advice="Open another one.")

    def _await(self, event: threading.Event) -> None:
        while not event.wait(POLL_S):
            if self._over.is_set() and not event.is_set():
                raise self.why_over()
            self._relay.pass_on()

    def _raise_if_over(self) -> None:
        if not self._relay.has_started:
            raise UsageError(_NOT_OPEN)
        if self._over.is_set():
            raise self.why_over()
