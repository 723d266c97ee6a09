"""What earlier versions called verdicts and figures in a journal, under the names of today.

Until a figure had a place of its own for it, `supply_voltage` was also the name of what the supply read at its own
output. Such a figure names no record, and its analysis does not say where the supply reads.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchctl.archive.journal.journal import Event

# Verdict names in run folders of earlier versions -> today's names.
RENAMED_VERDICTS: Mapping[str, str] = {"cannot be told": "inconclusive"}
RENAMED_FIGURES: Mapping[str, str] = {"supply_voltage": "supply_output_voltage"}
_SAYS_WHERE = "senses_terminals"  # in the context of an analysis since then


def in_names_of_today(event: Event) -> Event:
    """The event with verdicts and figures of earlier versions under their present names; anything but a list of figures
    is unchanged."""
    figures = event.get("figures")
    if not isinstance(figures, list):
        return event
    named = [_with_verdict_of_today(figure) for figure in figures]
    context = event.get("context")
    if not isinstance(context, dict) or _SAYS_WHERE in context:
        return {**event, "figures": named}
    return {**event, "figures": [_with_name_of_today(figure) for figure in named], **_criteria_of_today(event)}


def _with_verdict_of_today(figure: Any) -> Any:
    verdict = figure.get("verdict") if isinstance(figure, dict) else None
    return {**figure, "verdict": RENAMED_VERDICTS[verdict]} if verdict in list(RENAMED_VERDICTS) else figure


def _with_name_of_today(figure: Any) -> Any:
    if not isinstance(figure, dict) or figure.get("capture"):
        return figure
    today = [new for old, new in RENAMED_FIGURES.items() if old == figure.get("name")]
    return {**figure, "name": today[0]} if today else figure


def _criteria_of_today(event: Event) -> dict[str, Any]:
    """A criterion of a renamed figure holds for it under both names: of what was captured the old one stays."""
    criteria = event.get("criteria")
    if not isinstance(criteria, dict):
        return {}
    renamed = {new: criteria[old] for old, new in RENAMED_FIGURES.items() if old in criteria}
    return {"criteria": {**renamed, **criteria}}
