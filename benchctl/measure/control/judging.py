"""What a control chart says of the values of one phase: nothing yet, within, one value outside, or a change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean
from typing import Literal

from benchctl.measure.control.limits import ControlLimits, limits_of
from benchctl.measure.control.rules import Signal, signals_of

State = Literal["too few", "within", "one outside", "changed"]

# With fewer values nothing is judged. Sources differ between 5 and 30 for single values (a survey of four of them:
# nhs-r-community.github.io/NHSRplotthedots, "How many points are required for robust control limits?"); run rules are
# tabled from 10 on there.
FEWEST = 10
# Limits come from the first so many values at most, and stay: ISO 7870-2 speaks of 20 to 25 (from memory).
BASE = 25
# Until so many values are there, limits are provisional.
FIRM = 20
# The beginning and the end of a phase are the means of so many values, or of a quarter of few.
_ENDS = 5


@dataclass(frozen=True)
class Judgement:
    """`limits` are None with too few values. `signal` is the one that the state comes from: the last one. `change`: how
    far the values are from where they were, as they stand in `state`."""

    state: State
    limits: ControlLimits | None = None
    signals: tuple[Signal, ...] = ()
    signal: Signal | None = None
    change: float = 0.0
    is_firm: bool = False


def judge(values: Sequence[float]) -> Judgement:
    """What the values of one phase say, in their order of time.

    A change is found by a run on one side of the centre line, by a steady rise or fall, or by two of three values in a
    row outside on the same side. One value outside is told, but may be that one measurement's.
    """
    if len(values) < FEWEST:
        return Judgement("too few")
    limits = limits_of(values[:BASE])
    signals = tuple(signals_of(values, limits))
    firm = limits.count >= FIRM
    outside = [signal for signal in signals if signal.kind == "outside"]
    lasting = [each for each in signals if each.kind != "outside" or each.count > 1] or _near(outside)
    if lasting:
        return Judgement("changed", limits, signals, lasting[-1], _moved(values), firm)
    if outside:
        alone = outside[-1]
        return Judgement("one outside", limits, signals, alone, values[alone.first] - limits.centre, firm)
    return Judgement("within", limits, signals, is_firm=firm)


def _near(outside: Sequence[Signal]) -> list[Signal]:
    """Two single values outside on the same side with one between them, as one signal."""
    return [
        Signal("outside", one.first, other.last, one.is_up)
        for one, other in pairwise(outside)
        if one.is_up == other.is_up and other.first - one.last == 2
    ]


def _moved(values: Sequence[float]) -> float:
    """From the mean of the first values to the mean of the last."""
    part = min(_ENDS, max(len(values) // 4, 1))
    return fmean(values[-part:]) - fmean(values[:part])
