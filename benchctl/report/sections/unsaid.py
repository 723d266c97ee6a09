"""What a run cannot say: verdicts that are open, and figures of which only a bound is known."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.page_head import Box
from benchctl.report.words.names import listed, place_of, with_channel
from benchctl.report.words.quantities import with_uncertainty


def unsaid_boxes(run_record: RunRecord) -> Iterator[Box]:
    """A box for each of the two, where there is any."""
    told = [(entry, figure) for entry in run_record.entries for figure in entry.figures]
    if undecided := tuple(_in_words(*each) for each in told if each[1].verdict == "inconclusive"):
        text = "The requirement lies within what is uncertain, or only a bound is known: this bench cannot tell."
        yield Box("No verdict on these", "untold", (text,), undecided)
    bounds = [(entry, figure) for entry, figure in told if figure.bound]
    if bounds:
        judged = tuple(dict.fromkeys(_in_words(*each) for each in bounds if _matters(each[1])))
        others = list(dict.fromkeys(figure_in_words(figure.name) for _, figure in bounds if not _matters(figure)))
        too = ", too" if judged else ""
        texts = (f"Of some values of these{too}: {listed(others)}.",) if others else ()
        yield Box("Only a bound is known: at least or at most so much", "untold", texts, judged)


def _matters(figure: Figure) -> bool:
    """Whether a bound is named with its value: what is judged, and power."""
    return bool(figure.verdict) or (figure.name in _POWERS and figure.channel != TOTAL)


_POWERS = ("continuous_power", "burst_power_clean", "stated_power", "held_power")


def _in_words(entry: FiguresEntry, figure: Figure) -> str:
    place = place_of(entry.conditions_of(figure)) if figure.channel else ""
    reason = f": {figure.bound_reason}" if figure.bound_reason else ""
    return f"{' '.join(filter(None, [with_channel(figure), place]))}: {with_uncertainty(figure)}{reason}"
