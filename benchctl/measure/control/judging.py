"""What a control chart says of the values of one phase: nothing yet, within, one value outside, or a change."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean
from typing import Literal

from benchctl.measure.control.limits import SIGMAS, ControlLimits, limits_of
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
    """`limits` are None with too few values. `signal` is the one that the state comes from: the latest.

    `goes_on`: it reaches to the newest value, or to the one before. `change`: of a value outside, how far it is from
    the centre line; of a signal that goes on, how far the last values are from the first; of one that ended, how far
    its values are from all others. `by_chance`: what such a difference of means may be with nothing behind it, three
    standard deviations of it.
    """

    state: State
    limits: ControlLimits | None = None
    signals: tuple[Signal, ...] = ()
    signal: Signal | None = None
    change: float = 0.0
    by_chance: float = 0.0
    goes_on: bool = False
    is_firm: bool = False

    @property
    def is_beyond_chance(self) -> bool:
        """Whether the change is more than chance makes."""
        return abs(self.change) > self.by_chance


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
        signal = max(lasting, key=lambda each: (each.last, each.kind == "outside", each.count))
        goes_on = _goes_on(signal, values)
        former, later = _ends(values) if goes_on else _apart(values, signal)
        by_chance = SIGMAS * limits.sigma * math.sqrt(1.0 / len(former) + 1.0 / len(later))
        change = fmean(later) - fmean(former)
        return Judgement("changed", limits, signals, signal, change, by_chance, goes_on, firm)
    if outside:
        alone = outside[-1]
        away = values[alone.first] - limits.centre
        goes_on = _goes_on(alone, values)
        return Judgement("one outside", limits, signals, alone, away, goes_on=goes_on, is_firm=firm)
    return Judgement("within", limits, signals, is_firm=firm)


def _near(outside: Sequence[Signal]) -> list[Signal]:
    """Two single values outside on the same side with one between them, as one signal."""
    return [
        Signal("outside", one.first, other.last, one.is_up)
        for one, other in pairwise(outside)
        if one.is_up == other.is_up and other.first - one.last == 2
    ]


def _goes_on(signal: Signal, values: Sequence[float]) -> bool:
    return signal.last >= len(values) - 2


def _ends(values: Sequence[float]) -> tuple[Sequence[float], Sequence[float]]:
    """The first values and the last."""
    part = min(_ENDS, max(len(values) // 4, 1))
    return values[:part], values[-part:]


def _apart(values: Sequence[float], signal: Signal) -> tuple[Sequence[float], Sequence[float]]:
    """All values but those of a signal, and its own."""
    return [*values[: signal.first], *values[signal.last + 1 :]], values[signal.first : signal.last + 1]
