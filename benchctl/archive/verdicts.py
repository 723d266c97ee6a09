"""A figure's verdict against a criterion of a document: against a bound, or against a figure of an earlier step.

Of two figures both uncertainties count, as if they had nothing in common. What one instrument shows wrongly in both
cancels in truth, so such a verdict is rather inconclusive than wrong.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from pydantic import ValidationError

from benchctl.archive.compare import identity
from benchctl.archive.held_against import held_against
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.model.criteria import Criterion
from benchctl.measure.budget.figure import Figure, Verdict, u_to_combine
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.conditions import Conditions


@dataclass(frozen=True)
class Earlier:
    """A figure of a step that has a name, and what the bench was set to."""

    figure: Figure
    conditions: Conditions


# The name of a step -> its figures so far.
NamedFigures = dict[str, list[Earlier]]


def reference_of(figure: Figure, conditions: Conditions, criterion: Criterion, named: NamedFigures) -> Figure | None:
    """The like figure of the step that a criterion names: the latest, and where that step was performed with several
    loads or frequencies, the one with these."""
    alike = [each for each in named.get(criterion.of, ()) if identity(each.figure) == identity(figure)]
    if len({_place(each.conditions) for each in alike}) > 1:
        alike = [each for each in alike if _place(each.conditions) == _place(conditions)]
    return alike[-1].figure if alike else None


def named_figures(entries: Iterable[FiguresEntry]) -> NamedFigures:
    """The figures of every step that has a name, in the order of the journal."""
    named: NamedFigures = {}
    for entry in entries:
        note_named(entry, named)
    return named


def note_named(entry: FiguresEntry, named: NamedFigures) -> None:
    """Add the figures of one entry, if its step has a name."""
    if entry.name:
        named.setdefault(entry.name, []).extend(Earlier(figure, entry.conditions) for figure in entry.figures)


def _place(conditions: Conditions) -> tuple[float | None, float | None]:
    return conditions.load_ohm, conditions.frequency_hz


def verdict_again(figure: Figure, entry: FiguresEntry, named: NamedFigures) -> Verdict:
    """The verdict that follows from a figure of an entry, what it was held against, and the figures of earlier steps.
    It is as it is written in a folder that was made before criteria were kept."""
    if entry.criteria is None:
        return figure.verdict
    if figure.name not in entry.criteria or figure.channel == TOTAL:
        return ""
    try:
        criterion = Criterion.model_validate(entry.criteria[figure.name])
    except ValidationError:
        return ""
    return judged_by(figure, criterion, reference_of(figure, entry.conditions, criterion, named)).verdict


def judged_by(figure: Figure, criterion: Criterion, reference: Figure | None = None) -> Figure:
    """The figure with its verdict against a criterion; `reference`: what the criterion is told from, where that is an
    earlier figure."""
    if criterion.of:
        return replace(figure, verdict=_verdict_against(figure, criterion, reference))
    return held_against(figure, criterion)


def _verdict_against(figure: Figure, criterion: Criterion, reference: Figure | None) -> Verdict:
    """Of a part of the earlier figure, or of the difference to it; inconclusive where one of them is not known."""
    if reference is None or figure.contradiction or (criterion.is_part and reference.value == 0.0):
        return "inconclusive"
    if figure.expanded_uncertainty is None or reference.expanded_uncertainty is None:
        return "inconclusive"
    own, other = u_to_combine(figure), u_to_combine(reference)
    value, uncertainty = figure.value - reference.value, math.hypot(own, other)
    if criterion.is_part:
        part = figure.value / reference.value
        value = part - 1.0 if criterion.relation in ("within", "outside") else part
        uncertainty = math.hypot(own, part * other) / abs(reference.value)
    compared = replace(figure, value=value, expanded_uncertainty=uncertainty, bound="")
    return judged_by(compared, criterion.model_copy(update={"of": "", "is_part": False})).verdict
