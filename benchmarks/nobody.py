"""An observer that does nothing."""

from __future__ import annotations

from collections.abc import Sequence

from benchctl.measure.budget.figure import Figure
from benchctl.runner.acting.run import Run
from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.plan import PlannedStep


class Nobody:
    """Observes a run and shows nothing."""

    def started(self, checked: Preflight, run: Run) -> None:
        """Nothing."""

    def step_started(self, index: int, planned: PlannedStep) -> None:
        """Nothing."""

    def figures(self, planned: PlannedStep, figures: Sequence[Figure]) -> None:
        """Nothing."""

    def note(self, text: str) -> None:
        """Nothing."""

    def progress(self, text: str) -> None:
        """Nothing."""

    def stopping(self, text: str) -> None:
        """Nothing."""

    def alarm(self, text: str) -> None:
        """Nothing."""

    def relief(self, text: str) -> None:
        """Nothing."""

    def hands_needed(self, request: str) -> None:
        """Nobody is there to help."""
        raise AssertionError(f"nobody is there to help: {request}")

    def answer(self, question: str) -> str:
        """Nobody is there to answer."""
        raise AssertionError(f"nobody is there to answer: {question}")
