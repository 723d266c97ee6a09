"""Figures of an amplifier that was not driven to its limit: it can give at least so much, and nobody saw how much more.

A search for a level ends at the highest one that it may try, or where the first channel reaches the distortion bound.
A channel whose own distortion stayed below the bound has not shown what it can do.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from benchctl.measure.budget.figure import Figure, as_bound
from benchctl.measure.budget.power import TOTAL

# They rise with the drive until a channel is at its limit.
_OF_A_CHANNEL = frozenset(
    {
        "continuous_power",
        "burst_power_clean",
        "burst_power_first",
        "burst_power_highest",
        "burst_power_lowest",
        "burst_power_last",
        "output_rms",
        "output_peak",
    }
)
_OF_THE_WHOLE = frozenset({"supply_current", "supply_current_peak"})


def with_bounds(figures: Iterable[Figure], at_least: Mapping[str, str], channels: Iterable[str]) -> list[Figure]:
    """The figures, those of channels that did not reach their limit as what they are at least.

    Args:
        at_least: channel -> why it did not reach its limit, and what to do.
        channels: all that were measured. A total is at least so much if any of them is; what the whole amplifier draws
            if all are.
    """
    reasons = dict(at_least)
    if reasons:
        reasons[TOTAL] = next(iter(at_least.values()))
    all_of_them = reasons.get(TOTAL, "") if set(channels) <= set(at_least) else ""
    return [_with_bound(figure, _reason(figure, reasons, all_of_them)) for figure in figures]


def _reason(figure: Figure, reasons: Mapping[str, str], all_of_them: str) -> str:
    if figure.name in _OF_A_CHANNEL:
        return reasons.get(figure.channel, "")
    return all_of_them if figure.name in _OF_THE_WHOLE else ""


def _with_bound(figure: Figure, reason: str) -> Figure:
    """The low end of its interval: no less was there, whatever the instruments' errors."""
    if not reason or figure.bound:
        return figure
    return as_bound(figure, "at least", reason)
