"""The lines of the table that `make bench` prints."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from rich.table import Table


@dataclass(frozen=True)
class Row:
    """One comparison: the measured value beside the wanted one. Nothing passes or fails by it."""

    what: str
    found: str
    asked: str
    how: str = ""


Benchmark = Callable[[], Iterator[Row]]


def table_of(rows: list[Row]) -> Table:
    """All rows as a table."""
    title = f"benchctl: timings of this run on this computer, medians{_company()}"
    table = Table(title=title, title_justify="left")
    for heading in ("what", "found", "asked for", "how"):
        table.add_column(heading, justify="right" if heading in {"found", "asked for"} else "left")
    for row in rows:
        table.add_row(row.what, row.found, row.asked, row.how)
    return table


def _company() -> str:
    """The number of processors and the recent load, where the system gives them."""
    if not hasattr(os, "getloadavg"):
        return ""
    return f"; {os.cpu_count()} processors, {os.getloadavg()[1]:.1f} tasks at work"
