"""A figure's verdict against the bound of a criterion, by the decision rule of `judge`."""

from __future__ import annotations

from dataclasses import replace

from benchctl.documents.model.criteria import Criterion
from benchctl.measure.budget.figure import Figure, Requirement, judge


def held_against(figure: Figure, criterion: Criterion) -> Figure:
    """The figure with its verdict against a criterion with a bound of its own."""
    if criterion.about_one:
        return _about_one(figure, criterion.bound)
    if criterion.relation != "outside":
        return judge(figure, Requirement(criterion.relation, criterion.bound))
    # To lie outside is to fail to lie within.
    within = judge(figure, Requirement("within", criterion.bound)).verdict
    turned = {"passes": "fails", "fails": "passes"}.get(within, within)
    return replace(figure, verdict=turned)  # type: ignore[arg-type]


def _about_one(figure: Figure, bound: float) -> Figure:
    """It passes if it keeps both ends, and fails if it fails at either."""
    ends = (Requirement("below", bound), Requirement("above", 1.0 / bound))
    verdicts = {judge(figure, end).verdict for end in ends}
    worst = next(verdict for verdict in ("fails", "inconclusive", "passes") if verdict in verdicts)
    return replace(figure, verdict=worst)
