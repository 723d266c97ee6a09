"""Who watches a run that a program has started: what is told goes to the program, alarms to standard error too."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from contextlib import suppress

from benchctl.errors import OperatorStop
from benchctl.launch.acknowledgement import CAUTIONS, WORD
from benchctl.measure.budget.figure import Figure
from benchctl.runner.acting.run import Run
from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.plan import PlannedStep

Tell = Callable[[str], object]
Ask = Callable[[str], str]


class Watcher:
    """An observer of a run. It prints nothing but alarms: what is not known to be off must be seen at once.

    Args:
        tell: is given each thing that a person should know.
        ask: asks a person and returns what they answer.
    """

    def __init__(self, tell: Tell | None = None, ask: Ask | None = None) -> None:
        self._tell: Tell = tell or (lambda _: None)
        self._ask = ask
        self._run: Run | None = None
        self.is_asking = False

    @property
    def has_started(self) -> bool:
        """Whether the bench is open, and a stop can reach it."""
        return self._run is not None

    @property
    def run(self) -> Run:
        if self._run is None:
            raise RuntimeError("the run has not started")
        return self._run

    def started(self, _checked: Preflight, run: Run) -> None:
        self._run = run

    def step_started(self, _index: int, planned: PlannedStep) -> None:
        self._tell(planned.label)

    def figures(self, _planned: PlannedStep, _figures: Sequence[Figure]) -> None:
        """They are in the run folder."""

    def note(self, text: str) -> None:
        self._tell(text)

    def progress(self, _text: str) -> None:
        """How far a step has come is for whoever sits there."""

    def stopping(self, text: str) -> None:
        self._tell(text)

    def alarm(self, text: str) -> None:
        with suppress(OSError, ValueError):  # nobody can see it there
            print(text, file=sys.stderr, flush=True)
        self._tell(text)

    def relief(self, text: str) -> None:
        self._tell(text)

    def hands_needed(self, request: str) -> None:
        self.answer(request)

    def answer(self, question: str) -> str:
        """Ask the person.

        Raises:
            OperatorStop: there is nobody to ask.
        """
        if self._ask is None:
            raise OperatorStop(f"nobody can be asked: {question}", advice="Give ask=input, and stay at the bench.")
        self.is_asking = True
        try:
            return self._ask(question)
        finally:
            self.is_asking = False


def acknowledged_by(cautions: str) -> Ask:
    """Answers the cautions before the first real run with what the program was given.

    Raises:
        OperatorStop: it was not given the word.
    """

    def answer(_cautions: str) -> str:
        if cautions.strip().lower() != WORD:
            text = CAUTIONS.rpartition(" Type ")[0]
            raise OperatorStop(f"nothing was switched on. Read this, and then give cautions='{WORD}'.\n{text}")
        return cautions

    return answer
