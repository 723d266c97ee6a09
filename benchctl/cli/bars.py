"""The limits as bars against their bounds."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from benchctl.guard.limits import Watch
from benchctl.quantity import render

BAR_WIDTH = 24
# A bar's colour from this part of the way to the bound.
NEAR, AT_THE_EDGE = 0.8, 0.9


def limits_table(watches: Sequence[Watch], readings: Mapping[str, float | None], *, energised: bool) -> Table:
    """A row a limit: signal, reading, bar, bound.

    Args:
        watches: the guard's.
        readings: by signal, what the guard has read so far; None where a reading failed.
        energised: whether the amplifier is on, without which no lower bound on the supply holds.
    """
    table = Table.grid(padding=(0, 2))
    for _ in range(4):
        table.add_column()
    for watch in watches:
        was_read = watch.limit.signal in readings
        used = fraction_used(watch, energised=energised) if was_read else 0.0
        reading = _reading(watch) if was_read else "not read yet"
        table.add_row(watch.limit.signal, reading, _bar(used), Text(str(watch.limit.bound), style="dim"))
    return table


def _reading(watch: Watch) -> str:
    return "unreadable" if watch.value is None else render(watch.value, watch.limit.bound.unit)


def _bar(used: float) -> ProgressBar:
    style = "red" if used >= AT_THE_EDGE else "yellow" if used >= NEAR else "green"
    return ProgressBar(total=1.0, completed=used, width=BAR_WIDTH, complete_style=style, finished_style="red")


def fraction_used(watch: Watch, *, energised: bool = True) -> float:
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
