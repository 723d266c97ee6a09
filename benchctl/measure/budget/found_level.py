"""What a figure at a clean level owes to the search for that level: the drive at which distortion is just the bound is
known to so much and no better."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from benchctl.measure.budget.figure import Figure, keep_value
from benchctl.measure.uncertainty import measured

# With which power of the level each rises, at most: below clipping. Beyond it, power rises by 1.4 (a clipped sine).
_RISES_WITH: Mapping[str, int] = {
    "continuous_power": 2,
    "burst_power_clean": 2,
    "burst_power_first": 2,
    "burst_power_highest": 2,
    "burst_power_lowest": 2,
    "burst_power_last": 2,
    "output_rms": 1,
    "output_peak": 1,
}


def with_level_doubt(figures: Iterable[Figure], level_u: float) -> list[Figure]:
    """The figures, with the doubt of the level in the uncertainty of those that rise with it.

    Args:
        level_u: relative standard uncertainty of the level at which distortion is the bound.
    """
    return [_with_doubt(figure, level_u) for figure in figures]


def _with_doubt(figure: Figure, level_u: float) -> Figure:
    power, factor, expanded = _RISES_WITH.get(figure.name), figure.coverage_factor, figure.expanded_uncertainty
    if not level_u or power is None or factor is None or expanded is None:
        return figure
    doubt = factor * power * level_u * abs(figure.value)
    doubted = replace(figure, expanded_uncertainty=math.hypot(expanded, doubt))
    keep_value(doubted, figure, measured(0.0, doubt / factor, "level that the search found"))
    return doubted
