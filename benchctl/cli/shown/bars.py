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
# A bar's colour from this part of the way to the bound.
NEAR, AT_THE_EDGE = 0.8, 0.9


class Ages(Protocol):
    """Knows how old readings are: the guard."""

    def old_s(self, signal: str) -> float | None:
        """How old the last reading is, where that is older than it should be."""

    def is_sampled(self, signal: str) -> bool:
        """Whether it is read again and again, not in some step only."""


def limits_table(
    watches: Sequence[LimitWatch], readings: Mapping[str, float | None], ages: Ages, *, energised: bool
) -> Table:
    """A row a limit: signal, reading, bar, bound. What is old is shown as old, and no bar is drawn of it.

    Args:
        watches: the guard's.
        readings: by signal, what the guard has read so far; None where a reading failed.
        ages: how old they are.
        energised: whether the amplifier is on, without which no lower bound on the supply holds.
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
    """What should be read all the time is nothing to go by any more; what a step reads now and then was true once."""
    if ages.is_sampled(watch.limit.signal):
        return Text(f"no reading for {age_s:.0f} s", style="bold red")
    return Text(f"{_reading(watch)}, {age_s:.0f} s ago", style="dim")


def _reading(watch: LimitWatch) -> str:
    return "unreadable" if watch.value is None else render(watch.value, watch.limit.bound.unit)


def _bar(used: float) -> ProgressBar:
    style = "red" if used >= AT_THE_EDGE else "yellow" if used >= NEAR else "green"
    return ProgressBar(total=1.0, completed=used, width=BAR_WIDTH, complete_style=style, finished_style="red")


def fraction_used(watch: LimitWatch, *, energised: bool = True) -> float:
    """How far a reading is on its way to the nearer of its bounds, 0 to 1; 1 where it is passed or cannot be read.

    Towards a lower bound above zero it is bound over reading: 11 V of 14.4 V leaves a quarter.
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
