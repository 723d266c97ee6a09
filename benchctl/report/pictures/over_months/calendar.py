"""An axis of days."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, DateFormatter, date2num

_MARGIN = 0.06  # of the whole time, at either end
_BY_MONTH_DAYS = 120.0  # from so long on the axis names months
_SHORTEST_DAYS = 2.0  # that an axis shows, so that runs of one day stand apart from its ends


def days(moments: Sequence[datetime]) -> list[float]:
    """Moments as matplotlib counts them, in days."""
    return [float(each) for each in date2num(list(moments))]  # type: ignore[no-untyped-call]


def set_calendar(axes: Axes, moments: Sequence[datetime]) -> None:
    """Make the x axis one of days, from the first moment to the last."""
    first, last = min(days(moments)), max(days(moments))
    room = max(_MARGIN * (last - first), 0.5 * (_SHORTEST_DAYS - (last - first)))
    axes.set_xlim(first - room, last + room)
    axes.xaxis.set_major_locator(AutoDateLocator(minticks=2, maxticks=5))  # type: ignore[no-untyped-call]
    axes.set_xticks([tick for tick in axes.get_xticks() if first - room < tick <= last])  # one at the edge is cut off
    axes.xaxis.set_major_formatter(DateFormatter("%Y-%m" if last - first > _BY_MONTH_DAYS else "%Y-%m-%d"))  # type: ignore[no-untyped-call]
