"""What a figure at a clean level owes to the search for that level: the drive at which distortion is just the bound is
known to so much and no better."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from benchctl.measure.budget.figure import Figure, Made, keep_value, keeping_values, u_to_combine, value_of
from benchctl.measure.freedom import expanded
from benchctl.measure.uncertainty import COVERAGE_FACTOR, measured

FOUND_LEVEL = "level that the search found"
"""what a budget calls this doubt"""
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


def with_level_doubt(figures_of: Callable[[], Sequence[Figure]], level_u: float) -> list[Figure]:
    """Some figures, with the doubt of the level in the uncertainty of those that rise with it.

    Args:
        figures_of: makes the figures.
        level_u: relative standard uncertainty of the level at which distortion is the bound.
    """
    with keeping_values() as made:
        return [_with_doubt(figure, level_u, made) for figure in figures_of()]


def _with_doubt(figure: Figure, level_u: float, made: Sequence[Made]) -> Figure:
    power = _RISES_WITH.get(figure.name)
    if not level_u or power is None or figure.expanded_uncertainty is None:
        return figure
    doubt = measured(0.0, power * level_u * abs(figure.value), FOUND_LEVEL)
    value = value_of(figure, made)
    if value is None:
        factor = max(figure.coverage_factor or COVERAGE_FACTOR, COVERAGE_FACTOR)
        together = math.hypot(u_to_combine(figure), factor * float(doubt.std_dev))
        return replace(figure, expanded_uncertainty=together, coverage_factor=factor)
    uncertainty, factor = expanded(value + doubt)
    doubted = replace(figure, expanded_uncertainty=uncertainty, coverage_factor=factor)
    keep_value(doubted, figure, doubt)
    return doubted
