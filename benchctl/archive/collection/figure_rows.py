"""The rows of figures.csv as plain values, read by the csv module alone: thousands of tables are read in seconds."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Any, NamedTuple, overload

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


# Every version of the program wrote these.
_ALWAYS = frozenset({"step", "figure", "channel", "value", "unit", "expanded_uncertainty", "load_ohm", "frequency_hz"})
_NUMBERS = (
    *("value", "expanded_uncertainty", "coverage_factor", "load_ohm", "frequency_hz", "level_v", "supply_set_v"),
    *("thd_limit", "time_s"),
)


@dataclass(frozen=True)
class FigureTable(Sequence[FigureRow]):
    """The figures of a run. The cells are kept as they are written, by column; a row is made when it is asked for,
    because few of a million are.

    Attributes:
        cells: column -> cells, of those columns of `FigureRow` that there are.
        length: how many rows.
    """

    cells: Mapping[str, Sequence[str]] = field(default_factory=dict)
    length: int = 0

    def __len__(self) -> int:
        return self.length

    @overload
    def __getitem__(self, number: int) -> FigureRow: ...

    @overload
    def __getitem__(self, number: slice) -> Sequence[FigureRow]: ...

    def __getitem__(self, number: int | slice) -> FigureRow | Sequence[FigureRow]:
        if isinstance(number, slice):
            return [self[each] for each in range(*number.indices(self.length))]
        if not -self.length <= number < self.length:
            raise IndexError(number)
        return FigureRow._make(self._read(name, number) for name in FigureRow._fields)

    def column(self, name: str) -> Sequence[str]:
        """The cells of one column; all are empty of one that a version did not write."""
        return self.cells.get(name) or ("",) * self.length

    def _read(self, name: str, number: int) -> Any:
        cell = self.column(name)[number]
        if name in _NUMBERS:
            return float(cell) if cell else None
        if name == "burst_cycles":
            return int(cell) if cell else None
        return cell


NO_FIGURES = FigureTable()


def table_of_file(folder: RunFolder) -> FigureTable:
    """figures.csv of any version, with verdicts and figures under their names of today.

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
        columns = dict(zip(header, zip(*rows, strict=True), strict=True)) if rows else {}
        cells: dict[str, Sequence[str]] = {name: columns[name] for name in FigureRow._fields if name in columns}
        _check_numbers(cells)
        return FigureTable(_in_names_of_today(cells), len(rows))
    except (ValueError, csv.Error) as error:
        raise ArchiveError(f"{folder.figures} is not a table of figures: {error}") from error


def _check_numbers(cells: Mapping[str, Sequence[str]]) -> None:
    if "" in cells.get("value", ()):
        raise ValueError("a figure in it has no value")
    written = list(filter(None, chain.from_iterable(cells.get(name, ()) for name in _NUMBERS)))
    list(map(float, written))
    if "n" in "".join(written).lower():  # what Python reads as a float that is not finite: nan, inf, infinity
        raise ValueError("a number in it is not finite")
    list(map(int, filter(None, cells.get("burst_cycles", ()))))


def _in_names_of_today(cells: dict[str, Sequence[str]]) -> dict[str, Sequence[str]]:
    """See `earlier_names`: the column `supply_at` came with the names of today."""
    if not RENAMED_VERDICTS.keys().isdisjoint(cells.get("verdict", ())):
        cells["verdict"] = [RENAMED_VERDICTS.get(cell, cell) for cell in cells["verdict"]]
    if "supply_at" not in cells and "figure" in cells:
        named = zip(cells["figure"], cells.get("capture", ()), strict=True)
        cells["figure"] = [name if capture else RENAMED_FIGURES.get(name, name) for name, capture in named]
    return cells


def table_of_journal(folder: RunFolder) -> FigureTable:
    """The same figures, from the journal: of a run that was cut off, and wrote no table or only that of an earlier
    part.

    Raises:
        ArchiveError: the journal cannot be read.
    """
    # Heavy, and few runs need it.
    from benchctl.archive.journal.entries import entries_of  # noqa: PLC0415
    from benchctl.archive.journal.journal import read_as_far_as_whole  # noqa: PLC0415
    from benchctl.archive.tables.figures_csv import KINDS, cell, rows_of  # noqa: PLC0415
    from benchctl.archive.tables.run_identity import RunIdentity  # noqa: PLC0415

    journal, _ = read_as_far_as_whole(folder.journal)
    rows = list(rows_of(entries_of(journal.events), RunIdentity()))
    cells = {name: [cell(row[name], KINDS[name]) for row in rows] for name in FigureRow._fields}
    return FigureTable(cells if rows else {}, len(rows))
