"""A run held against the unit's earlier run: fitted quantities, and figures where nothing was fitted."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from benchctl.fit.diagnosis.advice import ADVICE, NONE, SAME
from benchctl.fit.diagnosis.named import Named
from benchctl.fit.examination import Examination
from benchctl.fit.findings import quantity_in_words
from benchctl.fit.since import Change, change_of
from benchctl.fit.told import Quantity
from benchctl.fit.uneven import of_rail
from benchctl.measure.budget.figure import Figure

CERTAIN = 2.0
"""Times the uncertainty of both runs (k = 2). About a dozen quantities are compared; at once that uncertainty, chance
alone would call one of them changed in every second or third sound unit."""

MATTERS: Mapping[str, float] = {
    "reservoir": 0.1,
    "rail_stiffness": 0.1,
    "headroom": 0.03,
    "rail": 0.03,
    "saturation": 0.5,
    "input_ratio": 0.03,
    "converter_efficiency": 0.03,
    "output_resistance": 0.5,
    "conduction_resistance": 0.3,
    "gain": 0.03,
    "idle_current": 0.2,
    "heatsink_resistance": 0.2,
    "heatsink_lag": 0.5,
}
"""Part of the earlier value below which a change is no sign of age or failure (common practice). Dc is named by its
size alone, and how clipping sets in not at all."""

RAIL_MOVES = 0.005
"""Of the half waves' size: by so much they may become unlike without a fault (common practice)."""

_FIGURES = {
    "idle_current": ("idle_current", "idle current of the supply"),
    "dc_offset": ("dc", "dc at output {channel}"),
    "gain": ("gain", "gain of channel {channel} into its load"),
}
_NEAR_HZ = 500.0, 2000.0

Told = Mapping[tuple[str, str], Quantity]


def changes_since(before: Examination, found: Examination) -> Iterator[Change | Quantity]:
    """Each quantity that both runs tell: as a change, or as it is where no change is seen.

    Of an output with a joint that opens the first figures count, which were taken cold.
    """
    fits, figures = (fitted_of(before), fitted_of(found)), (figures_of(before), figures_of(found))
    opens = {finding.channel for each in (before, found) for finding in each.findings if finding.kind == "joint"}
    for key in dict.fromkeys((*fits[1], *figures[1])):
        is_fitted = all(key in each for each in fits) and key[1] not in opens
        earlier, now = fits if is_fitted else figures
        if key in earlier and key in now:
            yield change_of(earlier[key], now[key]) or now[key]


def fitted_of(found: Examination) -> Told:
    """What the fit tells, by name and channel."""
    return {(each.name, each.channel): each for each in found.quantities if each.is_told}


def figures_of(found: Examination) -> Told:
    """Idle current, dc and gain as the run's own first figures, which need no fit."""
    told: dict[tuple[str, str], Quantity] = {}
    for entry in found.run.entries:
        for figure in entry.figures:
            if (quantity := _of_figure(figure)) is not None:
                told.setdefault((quantity.name, quantity.channel), quantity)
    return told


def _of_figure(figure: Figure) -> Quantity | None:
    name, words = _FIGURES.get(figure.name, ("", ""))
    hertz = figure.frequency_hz or 1000.0
    if not name or not figure.expanded_uncertainty or figure.bound or figure.contradiction:
        return None
    if not _NEAR_HZ[0] <= hertz <= _NEAR_HZ[1]:
        return None
    said = words.format(channel=figure.channel)
    return Quantity(name, said, figure.unit, figure.value, figure.expanded_uncertainty, channel=figure.channel)


def rail_since(before: Examination, found: Examination) -> Named | None:
    """A rail that is weaker than the other, and was less so in the earlier run, be it within what is usual."""
    if before.unlike is None or found.unlike is None or any(each.kind == "weak rail" for each in found.findings):
        return None
    more, u = found.unlike.value - before.unlike.value, math.hypot(found.unlike.u, before.unlike.u)
    if abs(more) - u < RAIL_MOVES or abs(found.unlike.value) < abs(before.unlike.value):
        return None
    sentence = f"{of_rail(found.unlike).sentence}; in the earlier run they differed by {abs(before.unlike.value):.1%}"
    times = (abs(more) - RAIL_MOVES) / u
    return Named("weak rail", "", sentence, times, ("the earlier run",), (), *ADVICE["weak rail"])


def cause_of(change: Change) -> str:
    """As a diagnosis names it."""
    return SAME.get(change.quantity.name, change.quantity.name)


def named_of(change: Change) -> Named:
    """A change that is certain."""
    cause = cause_of(change)
    advice = ADVICE.get(cause, NONE)
    return Named(cause, change.quantity.channel, change.sentence, change.times, ("the earlier run",), (), *advice)


def unchanged_words(quantity: Quantity) -> str:
    """Without a word on how sound it is."""
    return f"{quantity.words}: {quantity_in_words(quantity)}"


def is_certain(change: Change) -> bool:
    """Whether chance is ruled out among so many."""
    return change.times >= CERTAIN


def matters(change: Change) -> bool:
    """Whether it is so large that a part may have aged or failed."""
    least = MATTERS.get(change.quantity.name, math.inf)
    return abs(change.quantity.value - change.before.value) > least * abs(change.before.value)
