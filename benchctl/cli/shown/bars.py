"""The limits as bars against their bounds."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Protocol

from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from benchctl.guard.limits import LimitWatch
from benchctl.quantity import render

BAR_WIDTH = 24
# From this part of the bound on, a bar has this colour.
NEAR, AT_THE_EDGE = 0.8, 0.9


class Ages(Protocol):
    """Gives the age of readings; the guard does this."""

    def old_s(self, signal: str) -> float | None:
        """How old the last reading is, where that is older than it should be."""

    def is_sampled(self, signal: str) -> bool:
        """Whether it is read all the time, not only in some steps."""


def limits_table(
    watches: Sequence[LimitWatch], readings: Mapping[str, float | None], ages: Ages, *, energised: bool
) -> Table:
    """One row for each limit: signal, reading, bar, bound. An old reading is shown as old, without a bar.

    Args:
        watches: the guard's.
        readings: signal -> the last reading of the guard; None if it failed.
        ages: how old they are.
        energised: whether the amplifier is on; if it is off, lower bounds on the supply do not apply.
    """
    table = Table.grid(padding=(0, 2))
    for _ in range(4):
        table.add_column()
    for watch in watches:
        signal = watch.limit.signal
        bound = Text(str(watch.limit.bound), style="dim")
        if signal not in readings:
            table.add_row(signal, "not read yet", _bar(0.0), bound)
        elif (age_s := ages.old_s(signal)) is not None:
            table.add_row(signal, _old(watch, age_s, ages), "", bound)
        else:
            table.add_row(signal, _reading(watch), _bar(fraction_used(watch, energised=energised)), bound)
    return table


def _old(watch: LimitWatch, age_s: float, ages: Ages) -> Text:
    """An old reading of a signal that should be read all the time is not valid; one that only steps read was true
    then."""
    if ages.is_sampled(watch.limit.signal):
        return Text(f"no reading for {age_s:.0f} s", style="bold red")
    return Text(f"{_reading(watch)}, {age_s:.0f} s ago", style="dim")


def _reading(watch: LimitWatch) -> str:
    return "unreadable" if watch.value is None else render(watch.value, watch.limit.bound.unit)


def _bar(used: float) -> ProgressBar:
    style = "red" if used >= AT_THE_EDGE else "yellow" if used >= NEAR else "green"
    return ProgressBar(total=1.0, completed=used, width=BAR_WIDTH, complete_style=style, finished_style="red")


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
