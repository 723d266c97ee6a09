"""trend.csv: what the guard read, one row for each sample, from the first to the last second of a run."""

from __future__ import annotations

import csv
import io
import math
import os
import threading
from collections.abc import Iterable, Mapping, Sequence
from io import FileIO
from pathlib import Path
from typing import TYPE_CHECKING

from benchctl.archive.files import PART, Whereabouts, disk_errors, read_bytes, sync_folder, write_whole
from benchctl.archive.folder import RunFolder
from benchctl.errors import ArchiveError

if TYPE_CHECKING:
    import pandas as pd

# Start of a signal's name -> the unit at the end of its column's name; any other signal is a temperature.
_UNITS = {"supply_voltage": "v", "supply_current": "a"}
_UNITS_BY_ENDING = {"s": "s", "v": "V", "a": "A", "c": "degC"}


class Trend:
    """Adds samples to trend.csv.part, which `finish` turns into trend.csv. Safe to use from several threads.

    Each row goes to the operating system at once, so that it survives a killed run, but the disk is not waited for: a
        loss of power may cost the last seconds. An existing trend is continued.
    """

    def __init__(self, folder: RunFolder, whereabouts: Whereabouts | None = None) -> None:
        self._whereabouts = whereabouts or Whereabouts()
        self._path = folder.trend
        self._part = folder.trend.with_name(folder.trend.name + PART)
        self._lock = threading.Lock()
        self._columns: list[str] = []
        self._file: FileIO | None = None
        self._finished = False

    def append(self, time_s: float, readings: Mapping[str, float | None]) -> None:
        """Write one sample.

        Args:
            time_s: on the run's clock.
            readings: names that begin with `supply_voltage` in V, with `supply_current` in A, any other a temperature
                in degC. A reading that is absent, None or not finite leaves its cell empty.

        Raises:
            ArchiveError: it cannot be written, the run folder was moved or deleted, or the trend is finished.
        """
        if self._finished:
            raise ArchiveError(f"{self._path} is finished; no sample can be added")
        cells = {"time_s": time_s} | {trend_column(name): value for name, value in readings.items()}
        with self._lock, disk_errors("write", self._part):
            file = self._opened_for(cells)
            self._whereabouts.check(self._part, file.fileno())
            _write_all(file, _line(_cell(cells.get(column)) for column in self._columns))

    def finish(self) -> None:
        """Give the file its final name, even if it holds no sample. Idempotent.

        Raises:
            ArchiveError: it cannot be written.
        """
        with self._lock, disk_errors("write", self._path):
            if self._finished:
                return
            try:
                os.fsync(self._opened_for({}).fileno())
            finally:
                self._let_go()
            os.replace(self._part, self._path)
            sync_folder(self._path.parent)
            self._finished = True

    def _let_go(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None

    def _opened_for(self, cells: Mapping[str, object]) -> FileIO:
        """The open file, with a header that has these columns."""
        if self._file is None:
            rows = self._earlier_rows()
            self._columns = rows[0] if rows else list(_FIRST_COLUMNS)
            self._file = self._rewritten(rows[1:], cells)
        elif any(column not in self._columns for column in cells):
            self._let_go()
            self._file = self._rewritten(_rows(self._part)[1:], cells)
        return self._file

    def _earlier_rows(self) -> list[list[str]]:
        """The rows that an earlier part of the run left, if any."""
        return next((_rows(path) for path in (self._part, self._path) if path.exists()), [])

    def _rewritten(self, rows: Sequence[Sequence[str]], cells: Mapping[str, object]) -> FileIO:
        """The file with a header for all columns, old and new, and the earlier rows."""
        self._columns += [column for column in cells if column not in self._columns]
        width = len(self._columns)
        lines = [_line(self._columns), *(_line([*row, *[""] * (width - len(row))]) for row in rows)]
        write_whole(self._part, "".join(lines).encode("utf-8"))
        # Unbuffered: a write that a full disk refused must not be repeated when the file is closed.
        return self._part.open("ab", buffering=0)


def trend_file(folder: RunFolder) -> Path:
    """The trend's file: under its final name, or the name while a run goes on or was killed."""
    part = folder.trend.with_name(folder.trend.name + PART)
    return part if part.exists() else folder.trend


def read_trend(folder: RunFolder) -> pd.DataFrame:
    """The trend of a run, whether it was finished or killed; unreadable cells are NaN.

    Raises:
        ArchiveError: there is none, or it is not such a table.
    """
    import pandas as pd  # noqa: PLC0415 - the trend is written without, by everything that loads this

    path = trend_file(folder)
    rows = _rows(path)
    try:
        columns = rows[0]
        if columns[:1] != ["time_s"] or len(set(columns)) < len(columns):
            raise ValueError("its columns are not a time_s and one for each signal")
        return pd.DataFrame([_numbers(row) for row in rows[1:]], columns=columns, dtype="float64")
    except (ValueError, IndexError) as error:
        raise ArchiveError(f"{path} is not a trend: {error}") from error


def _rows(path: Path) -> list[list[str]]:
    """The header and the whole rows; a row without its line end was cut off by a crash and does not count.

    Raises:
        ArchiveError: it cannot be read, or is not a table.
    """
    whole, _, _ = read_bytes(path).rpartition(b"\n")
    try:
        return list(csv.reader(whole.decode("utf-8", errors="replace").splitlines()))
    except csv.Error as error:
        raise ArchiveError(f"{path} is not a trend: {error}") from error


def _numbers(row: Sequence[str]) -> list[float]:
    return [float(cell) if cell else math.nan for cell in row]


def trend_column(signal: str) -> str:
    """The name of a signal's column; it ends in the unit."""
    unit = next((unit for beginning, unit in _UNITS.items() if signal.startswith(beginning)), "c")
    return f"{signal}_{unit}"


def signal_and_unit(column: str) -> tuple[str, str]:
    """What a column of the trend holds, and its unit: 'supply_voltage_v' has supply_voltage in V."""
    signal, _, ending = column.rpartition("_")
    return signal, _UNITS_BY_ENDING.get(ending, "")


_FIRST_COLUMNS = ("time_s", *map(trend_column, _UNITS))


def _cell(value: float | None) -> str:
    return "" if value is None or not math.isfinite(value) else repr(float(value))


def _write_all(file: FileIO, line: str) -> None:
    view = memoryview(line.encode("utf-8"))
    while view:
        view = view[file.write(view) :]


def _line(cells: Iterable[str]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(cells)
    return text.getvalue()
