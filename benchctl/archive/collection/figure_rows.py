"""The rows of figures.csv as plain values, read by the csv module alone: thousands of tables are read in seconds."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.earlier_names import RENAMED_FIGURES, RENAMED_VERDICTS
from benchctl.errors import ArchiveError


class FigureRow(NamedTuple):
    """One figure. The names are the columns of figures.csv, which has what each of them means (`figures_csv.TABLE`);
    what does not apply is '' or None."""

    figure: str
    value: float
    unit: str
    expanded_uncertainty: float | None
    coverage_factor: float | None
    bound: str
    verdict: str
    channel: str
    step: str
    load_ohm: float | None
    frequency_hz: float | None
    burst_cycles: int | None
    level_v: float | None
    drive: str
    supply_set_v: float | None
    supply_at: str
    driven: str
    thd_limit: float | None
    bursts: str
    contradiction: str
    bound_reason: str
    capture: str
    time_s: float | None


def _numbers(cells: Sequence[str]) -> list[float | None]:
    if "n" in "".join(cells).lower():  # what Python reads as a float that is not finite: nan, inf, infinity
        raise ValueError("a number in it is not finite")
    return [float(cell) if cell else None for cell in cells]


def _values(cells: Sequence[str]) -> list[float | None]:
    if "" in cells:
        raise ValueError("a figure in it has no value")
    return _numbers(cells)


def _whole_numbers(cells: Sequence[str]) -> list[int | None]:
    return [int(cell) if cell else None for cell in cells]


def _verdicts(cells: Sequence[str]) -> list[str]:
    return [RENAMED_VERDICTS.get(cell, cell) for cell in cells]


_NUMBERS = [
    "expanded_uncertainty",
    "coverage_factor",
    "load_ohm",
    "frequency_hz",
    "level_v",
    "supply_set_v",
    "thd_limit",
    "time_s",
]
_READ: Mapping[str, Callable[[Sequence[str]], Sequence[Any]]] = {
    **dict.fromkeys(_NUMBERS, _numbers),
    "value": _values,
    "burst_cycles": _whole_numbers,
    "verdict": _verdicts,
}
# Every version of the program wrote these.
_ALWAYS = frozenset(
    ["step", "load_ohm", "frequency_hz", "burst_cycles", "channel", "figure", "value", "unit", "expanded_uncertainty"]
)


def rows_in_table(folder: RunFolder) -> tuple[FigureRow, ...]:
    """The rows of figures.csv of any version; what that version did not write is '' or None.

    Raises:
        ArchiveError: it is not there, or is not such a table.
    """
    text = read_bytes(folder.figures).decode("utf-8", errors="replace")
    try:
        header, *rows = csv.reader(io.StringIO(text, newline=""), strict=True)
        if missing := sorted(_ALWAYS.difference(header)):
            raise ValueError(f"it has no column {', '.join(missing)}")
        if uneven := next((row for row in rows if len(row) != len(header)), None):
            raise ValueError(f"it has {len(header)} columns, and a row of {len(uneven)}")
        return _rows(header, rows)
    except (ValueError, csv.Error) as error:
        raise ArchiveError(f"{folder.figures} is not a table of figures: {error}") from error


def _rows(header: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[FigureRow, ...]:
    """By columns, which is several times quicker than cell by cell."""
    by_name = dict(zip(header, zip(*rows, strict=True), strict=True)) if rows else {}
    found = tuple(map(FigureRow, *(_column(name, by_name.get(name), len(rows)) for name in FigureRow._fields)))
    return found if "supply_at" in header else tuple(map(_with_name_of_today, found))


def _column(name: str, cells: Sequence[str] | None, length: int) -> Sequence[Any]:
    read = _READ.get(name)
    if cells is None:
        return [None if read is _numbers else ""] * length
    return cells if read is None else read(cells)


def _with_name_of_today(row: FigureRow) -> FigureRow:
    """See `earlier_names`: the column `supply_at` came with the names of today."""
    return row if row.capture else row._replace(figure=RENAMED_FIGURES.get(row.figure, row.figure))


def rows_in_journal(folder: RunFolder) -> tuple[FigureRow, ...]:
    """The same rows, from the journal: of a run that was cut off, and wrote no table or only that of an earlier part.

    Raises:
        ArchiveError: the journal cannot be read.
    """
    # Heavy, and few runs need it.
    from benchctl.archive.journal.entries import entries_of  # noqa: PLC0415
    from benchctl.archive.journal.journal import read_as_far_as_whole  # noqa: PLC0415
    from benchctl.archive.tables.figures_csv import rows_of  # noqa: PLC0415
    from benchctl.archive.tables.run_identity import RunIdentity  # noqa: PLC0415

    journal, _ = read_as_far_as_whole(folder.journal)
    written = rows_of(entries_of(journal.events), RunIdentity())
    return tuple(FigureRow._make(row[name] for name in FigureRow._fields) for row in written)
