"""Writes the sentence on a run from what its folder tells."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.measure.budget.figure import Figure
from benchctl.report.headline.circumstances import ending_of, mark_of_sentence, unseen_of, verdicts_of
from benchctl.report.headline.findings import finding_of, protected_of
from benchctl.report.headline.power import Claim, claim_of
from benchctl.report.headline.sentence import Clause, Headline
from benchctl.report.reading.run_outcome import RunOutcome, run_outcome_of
from benchctl.report.reading.run_record import RunRecord

_BENCH_CHECK = "check_bench"
_SOUND = "the bench check found nothing wrong"
_PROTECTIONS = ("protection", "fold_back")


def headline_of(run_record: RunRecord) -> Headline:
    """The sentence on a run; of one that still goes on, or was cut off, on what there is of it."""
    outcome = run_outcome_of(run_record)
    claim = claim_of(run_record.entries, run_record.amplifier)
    lead, *more = _found(run_record, outcome, claim)
    conditions = claim.conditions if claim is not None else None
    judged = _judged_alike(claim)
    return Headline(
        lead=lead,
        clauses=(*more, *verdicts_of(run_record, judged, conditions), *unseen_of(run_record)),
        mark=mark_of_sentence(run_record),
        ending=ending_of(run_record, outcome),
        conditions=conditions,
    )


def _found(run_record: RunRecord, outcome: RunOutcome, claim: Claim | None) -> Iterator[Clause]:
    """The power, else what the run is known by, else that there is nothing; a protection in any case."""
    figures = [figure for entry in run_record.entries for figure in entry.figures]
    protected = [protected_of(entry) for entry in run_record.entries if entry.analysis in _PROTECTIONS]
    if claim is not None:
        yield from claim.clauses()
    elif not protected:
        yield finding_of(figures) or _nothing(run_record, outcome)
    yield from protected[-1:]


def _nothing(run_record: RunRecord, outcome: RunOutcome) -> Clause:
    is_check = any(step.kind == _BENCH_CHECK for step in run_record.steps)
    if is_check and outcome.is_finished:
        return Clause("finding", _SOUND)
    return Clause("nothing", "no figure was measured")


def _judged_alike(claim: Claim | None) -> list[Figure]:
    """The figures whose verdict the share of the rating already tells: those of the claim that are judged alike."""
    if claim is None or not any(clause.kind == "rating" for clause in claim.clauses()):
        return []
    rows = [row.by_length[claim.length] for row in claim.family if claim.length in row.by_length]
    return [figure for figure in rows if figure.verdict == claim.figure.verdict]
