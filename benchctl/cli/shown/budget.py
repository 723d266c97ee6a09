"""Budgets of figures as tables in plain text."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from benchctl.archive.budgets import FigureBudget
from benchctl.measure.budget.words import burst_in_words, unit_in_words, value_in_words
from benchctl.measure.uncertainty import COVERAGE_FACTOR
from benchctl.quantity import render

# A cause with a smaller share of the variance is not shown by itself.
_WORTH_A_LINE = 0.0005
_AS_GOOD_AS_2 = 0.02


def budgets_in_words(budgets: Sequence[FigureBudget]) -> str:
    """One table for each figure."""
    return "\n\n".join("\n".join(_table(budget)) for budget in budgets)


def _table(budget: FigureBudget) -> Iterator[str]:
    figure = budget.figure
    burst = burst_in_words(figure.burst_cycles) if figure.burst_cycles else ""
    named = " ".join(filter(None, (figure.name, figure.channel, burst)))
    yield f"{named}: {value_in_words(figure)} {unit_in_words(figure)}".rstrip()
    yield f"  step {budget.step}; {budget.conditions}"
    if budget.why_not:
        yield f"  no budget: {budget.why_not}"
        return
    variance = sum(part.standard**2 for part in budget.parts)
    lines = [(part.cause, part.standard) for part in budget.parts if part.standard**2 >= _WORTH_A_LINE * variance]
    if left := len(budget.parts) - len(lines):
        rest = max(variance - sum(standard**2 for _, standard in lines), 0.0)
        lines.append((f"{left} smaller ones" if left > 1 else "a smaller one", math.sqrt(rest)))
    width = max((len(cause) for cause, _ in lines), default=0)
    for cause, standard in lines:
        yield f"  {cause:<{width}}  {render(standard, figure.unit, digits=3):>12}  {_share(standard, variance)}"
    u, factor = math.sqrt(variance), figure.coverage_factor or 0.0
    expanded = render(figure.expanded_uncertainty or 0.0, figure.unit, digits=3)
    yield f"  together u = {render(u, figure.unit, digits=3)}; U = {expanded} with k = {factor:.3g}{_reason(factor)}"


def _reason(factor: float) -> str:
    """Why the coverage factor is another than 2."""
    if abs(factor - COVERAGE_FACTOR) < _AS_GOOD_AS_2:
        return ""
    return " (limits of error dominate)" if factor < COVERAGE_FACTOR else " (few readings count)"


def _share(standard: float, variance: float) -> str:
    return f"{standard**2 / variance:6.1%}" if variance else "     -"
