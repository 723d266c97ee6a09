"""The limits of a run with their readings: how far each is on its way, and what is old or missing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Protocol

from benchctl.guard.limits import LimitWatch
from benchctl.quantity import render
from benchctl.watch.now import LimitNow


class Ages(Protocol):
    """Gives the age of readings; the guard does this."""

    def old_s(self, signal: str) -> float | None:
        """How old the last reading is, where that is older than it should be."""

    def is_sampled(self, signal: str) -> bool:
        """Whether it is read all the time, not only in some steps."""


def limits_now(
    watches: Sequence[LimitWatch], readings: Mapping[str, float | None], ages: Ages, *, energised: bool
) -> tuple[LimitNow, ...]:
    """Each limit with its reading; what several documents ask alike is told once. An old reading is told as old, and
    says nothing of how much is used.

    Args:
        watches: the guard's.
        readings: signal -> the last reading of the guard; None if it failed.
        ages: how old they are.
        energised: whether the amplifier is on; if it is off, lower bounds on the supply do not apply.
    """
    return tuple(dict.fromkeys(_limit(watch, readings, ages, energised=energised) for watch in watches))


def _limit(watch: LimitWatch, readings: Mapping[str, float | None], ages: Ages, *, energised: bool) -> LimitNow:
    signal, bound = watch.limit.signal, str(watch.limit.bound)
    if signal not in readings:
        return LimitNow(signal, "not read yet", bound, used=None)
    if (age_s := ages.old_s(signal)) is not None:
        return _old(watch, age_s, bound, is_missing=ages.is_sampled(signal))
    return LimitNow(signal, _reading(watch), bound, fraction_used(watch, energised=energised))


def _old(watch: LimitWatch, age_s: float, bound: str, *, is_missing: bool) -> LimitNow:
    """An old reading of a signal that should be read all the time is not valid; one that only steps read was true
    then."""
    told = f"no reading for {age_s:.0f} s" if is_missing else f"{_reading(watch)}, {age_s:.0f} s ago"
    return LimitNow(watch.limit.signal, told, bound, used=None, is_missing=is_missing)


def _reading(watch: LimitWatch) -> str:
    return "unreadable" if watch.value is None else render(watch.value, watch.limit.bound.unit)


def fraction_used(watch: LimitWatch, *, energised: bool = True) -> float:
    """How far a reading is on its way to the nearer of its bounds, 0 to 1; 1 if it is passed or cannot be read.

    For a lower bound above zero it is bound / reading: with 14.4 V and a bound of 11 V it is about three quarters.
    """
    value, bound = watch.value, watch.limit.bound
    if value is None or not math.isfinite(value) or watch.limit.is_passed(value, energised=energised):
        return 1.0
    upward = value / bound.high if bound.high > 0 else 0.0
    if not energised and watch.limit.signal.startswith("supply_"):
        return max(0.0, upward)
    return max(0.0, upward, _share_of_lower(value, bound.low))


def _share_of_lower(value: float, low: float) -> float:
    if low > 0:
        return low / value
    return value / low if low < 0 else 0.0
