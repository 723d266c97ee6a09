"""The last result of each channel, in words."""

from __future__ import annotations

from collections.abc import Sequence

from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.report.words.names import name_of
from benchctl.report.words.quantities import with_uncertainty
from benchctl.watch.now import ResultNow

# What a person asks for first; other figures come after these, in their own order.
_FIRST = (
    *("burst_power_clean", "continuous_power", "stated_power", "gain", "crosstalk", "damping_factor", "thd_n"),
    *("efficiency", "idle_current"),
)


def results_in(figures: Sequence[Figure]) -> dict[str, ResultNow]:
    """Channel -> of its figures the one that a person asks for first; "" -> the same of the whole amplifier."""
    results: dict[str, ResultNow] = {}
    for figure in sorted(figures, key=_rank):
        if figure.channel != TOTAL and figure.channel not in results:
            results[figure.channel] = _in_words(figure)
    return results


def _rank(figure: Figure) -> int:
    return _FIRST.index(figure.name) if figure.name in _FIRST else len(_FIRST)


def _in_words(figure: Figure) -> ResultNow:
    return ResultNow(figure.channel, name_of(figure), with_uncertainty(figure), figure.verdict)
