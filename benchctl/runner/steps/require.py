"""require: end the run unless figures measured before keep their criteria."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from benchctl.archive.verdicts import judged_by, reference_of
from benchctl.documents.model.criteria import Criterion
from benchctl.documents.sequence_file.steps import Require
from benchctl.errors import RequirementFailed
from benchctl.measure.budget.figure import Figure, Verdict
from benchctl.quantity import render
from benchctl.runner.acting.run import Run, latest
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase


def perform(step: Require, run: Run) -> None:
    """Every criterion must be known to hold; what is inconclusive does not.

    Raises:
        RequirementFailed: one does not, or its figure was never measured.
    """
    unmet = unmet_criteria(run, step.criteria)
    if unmet:
        raise RequirementFailed("; ".join(unmet))


def unmet_criteria(run: Run, criteria: Mapping[str, Criterion]) -> list[str]:
    """Why criteria on figures measured before do not hold, in words; empty if all do."""
    return [failure for name, criterion in criteria.items() for failure in _failures(run, name, criterion)]


def _failures(run: Run, name: str, criterion: Criterion) -> Iterator[str]:
    figures = latest(run.measured, name)
    if not figures:
        yield f"{name} must be {criterion}, and was never measured"
    for figure in figures:
        reference = reference_of(figure, run.conditions, criterion, run.named)
        verdict = judged_by(figure, criterion, reference).verdict
        if verdict != "passes":
            of_channel = f" of channel {figure.channel}" if figure.channel else ""
            known = f"{figure.bound} {render(figure.value, figure.unit)}".lstrip()
            yield f"{name}{of_channel} is {known} and must be {criterion}{_why_inconclusive(figure, verdict)}"


def _why_inconclusive(figure: Figure, verdict: Verdict) -> str:
    if verdict == "fails":
        return ""
    if figure.bound:
        return f", which is inconclusive: {figure.bound_reason or 'more is not known'}"
    return ", which is inconclusive within its uncertainty"


def worst_case(_step: Require, _state: ExpectedState) -> WorstCase:
    return WorstCase(duration_s=0.0)
