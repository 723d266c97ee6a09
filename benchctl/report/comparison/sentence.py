"""The sentence that a comparison opens with: what became of the power, and what else changed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchctl.archive.changes import Change, Occasion
from benchctl.measure.budget.figure import u_to_combine
from benchctl.measure.budget.power import TOTAL
from benchctl.report.comparison.compared import Comparison, is_in_both
from benchctl.report.comparison.findings import Finding, findings_of, without_channel
from benchctl.report.headline.circumstances import ending_of, mark_of_sentence
from benchctl.report.headline.power import claim_of
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.words.names import listed

_NAMED = 3  # kinds of figures that are named; of more, how many there are
_NOTHING = "nothing changed beyond the uncertainty"
_NOT_ALIKE = "no figure was measured under the same conditions in both runs"


@dataclass(frozen=True)
class Sentence:
    """`lead` what is said first, with `value` its change; `more` what belongs to it; `mark` where a run is none of a
    real amplifier."""

    lead: str
    value: str
    more: tuple[str, ...]
    mark: str

    def __str__(self) -> str:
        said = "; ".join([": ".join(filter(None, [self.lead, self.value])), *self.more])
        return f"{self.mark}: {said}" if self.mark else said[:1].upper() + said[1:]


def sentence_of(comparison: Comparison) -> Sentence:
    """The power that the first run is known by, else the largest change, else that there is none."""
    findings = findings_of(comparison)
    power = _power(comparison)
    lead, value, led = _lead(comparison, findings, power)
    others = [finding for finding in findings if finding.kind not in led]
    more = [*_others(others, is_first=not value), *_endings(comparison)]
    marks = dict.fromkeys(mark for run_record in comparison.run_records if (mark := mark_of_sentence(run_record)))
    return Sentence(lead, value, tuple(more), " and ".join(marks))


def _lead(comparison: Comparison, findings: Sequence[Finding], power: Finding | None) -> tuple[str, str, set[str]]:
    """What is said first, its change, and the kind of figure that is said with it."""
    first = power or next(iter(findings), None)
    if first is None:
        is_any = any(is_in_both(change) for changes in comparison.rows.values() for change in changes)
        return _NOTHING if is_any else _NOT_ALIKE, "", set()
    what = first.what()
    value = first.by_how_much() if comparison.is_finding(first.changes[0]) else _no_change(first.changes[0])
    return f"{what[:1].lower()}{what[1:]}: {first.values(comparison)}", value, {first.kind}


def _power(comparison: Comparison) -> Finding | None:
    """The power that the first run is known by, of every channel that was measured with it, beside that of the last
    run; None where the two cannot be compared."""
    first = comparison.run_records[0]
    claim = claim_of(first.entries, first.amplifier)
    if claim is None:
        return None
    at = next((place for place, changes in comparison.rows.items() if changes[-1].before is claim.figure), None)
    if at is None or not _is_told(comparison.rows[at][-1]):
        return None
    beside = [changes[-1] for place, changes in comparison.rows.items() if _is_beside(place, at)]
    told = [change for change in beside if _is_told(change) and change.is_change == comparison.rows[at][-1].is_change]
    return Finding(tuple(told), len(comparison.others))


def _is_told(change: Change) -> bool:
    return is_in_both(change) and change.is_told


def _is_beside(place: Occasion, other: Occasion) -> bool:
    return place.identity[1] != TOTAL and without_channel(place) == without_channel(other)


def _no_change(change: Change) -> str:
    """Unchanged, with what a change would have to exceed."""
    both = [figure for figure in (change.before, change.after) if figure is not None]
    if any(figure.expanded_uncertainty is None for figure in both):
        return "no change that can be told"
    size = math.hypot(*map(u_to_combine, both))
    return f"no change beyond the uncertainty of {size:.2g} {change.figure.unit}"


def _others(findings: list[Finding], *, is_first: bool) -> Iterator[str]:
    kinds = list(dict.fromkeys(finding.kind for finding in findings))
    if kinds:
        left = len(kinds) - _NAMED
        named = kinds[:_NAMED] + ([f"{left} more"] if left > 0 else [])
        yield f"{'' if is_first else 'also '}changed: {listed(named)}"


def _endings(comparison: Comparison) -> Iterator[str]:
    """Of a run that did not come to its end, how it ended."""
    for name, run_record in zip(comparison.names.each, comparison.run_records, strict=True):
        if ending := ending_of(run_record, run_outcome_of(run_record)):
            yield f"the run {name} was {ending}" if comparison.names.are_times else f"{name}: {ending}"
