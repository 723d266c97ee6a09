"""The folder that results are kept in: a table for each run, the list of runs, and the figures that changed.

==================  =================================================================================================
file                holds
==================  =================================================================================================
about.json          the collection, the method, the version of benchctl and of numpy
figures/NAME.csv    a run's figures of today beside those that it wrote
runs.csv            a row for each run: how many figures, changed, turned verdicts; or why it could not be computed
changes.csv         the rows of all runs whose figure changed, is new, or cannot be computed any more
==================  =================================================================================================

While the work goes on, `runs.csv.part` has the runs that are done. A reanalysis that was killed goes on from there.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import BinaryIO

from benchctl.archive.files import PART, disk_errors, read_bytes, write_whole
from benchctl.archive.reanalysis.one_run import RunResult
from benchctl.archive.reanalysis.table import as_csv, columns
from benchctl.errors import ArchiveError, UsageError
from benchctl.measure.method import METHOD

_NUMBERS = ("figures", "changed", "verdicts_turned", "new", "not_computed")
_WORDS = ("run", "amplifier", "serial", "methods_before")
RUN_COLUMNS = ("run_folder", *_WORDS, "method", "version", *_NUMBERS, "table", "error", "inputs")


@dataclass(frozen=True)
class RunRow:
    """What runs.csv says of a run, by column."""

    cells: Mapping[str, str]

    @property
    def name(self) -> str:
        """Its folder below that of the collection."""
        return self.cells["run_folder"]

    @property
    def error(self) -> str:
        """Why it could not be computed; '' if it was."""
        return self.cells["error"]

    def count(self, column: str) -> int:
        """A number of the row; 0 where it has none."""
        return int(self.cells[column] or 0)

    @classmethod
    def of(cls, name: str, result: RunResult) -> RunRow:
        """The row of a run that was worked on."""
        cells = {word: getattr(result, word) for word in _WORDS}
        if not result.error:
            cells |= {number: str(getattr(result, number)) for number in _NUMBERS}
            cells |= {"table": table_name(name), "inputs": result.inputs}
        made_by = {"method": str(METHOD), "version": version("benchctl")}
        return cls(dict.fromkeys(RUN_COLUMNS, "") | {"run_folder": name, "error": result.error} | made_by | cells)


def table_name(run: str) -> str:
    """The file of a run's table, below the folder of results."""
    return f"figures/{run}.csv"


class Kept:
    """The results in one folder; what an earlier call has done is known, also if it was killed.

    Raises:
        UsageError: the folder has the results of another collection, or is none of results.
        ArchiveError: it cannot be read or written.
    """

    def __init__(self, folder: Path, collection: Path) -> None:
        self.folder = folder
        self._list = folder / "runs.csv"
        self._part = folder / f"runs.csv{PART}"
        self._file: BinaryIO | None = None
        with disk_errors("create", folder):
            folder.mkdir(parents=True, exist_ok=True)
        self._belongs_to(collection)
        self._rows = {row.name: row for path in (self._list, self._part) for row in _rows(path)}

    def done(self, name: str) -> str:
        """The hash of what a run's figures were computed from; '' if they never were, or their table is gone."""
        row = self._rows.get(name)
        return row.cells["inputs"] if row and row.cells["inputs"] and self._table(row).is_file() else ""

    def row(self, name: str) -> RunRow:
        """What there is of a run."""
        return self._rows[name]

    def keep(self, name: str, result: RunResult) -> RunRow:
        """Keep what became of a run: its table first, whole, then its row. Nothing is written if it was done before."""
        if result.table is not None:
            table = self.folder / table_name(name)
            with disk_errors("create", table.parent):
                table.parent.mkdir(parents=True, exist_ok=True)
            write_whole(table, result.table)
        if not result.is_as_before:
            self._rows[name] = RunRow.of(name, result)
            self._append(self._rows[name])
        return self._rows[name]

    def finish(self) -> None:
        """Write runs.csv and changes.csv whole, in the order of names."""
        self.close()
        rows = [self._rows[name] for name in sorted(self._rows)]
        write_whole(self._list, as_csv([RUN_COLUMNS, *(_line(row) for row in rows)]))
        self._write_changes(rows)
        with disk_errors("remove", self._part):
            self._part.unlink(missing_ok=True)

    def changes(self) -> Iterator[Mapping[str, str]]:
        """The rows of changes.csv, by column."""
        with disk_errors("read", self._changes), self._changes.open(encoding="utf-8", newline="") as file:
            yield from csv.DictReader(file)

    def close(self) -> None:
        """Let go of the list. Idempotent."""
        if self._file is not None:
            self._file.close()
            self._file = None

    @property
    def _changes(self) -> Path:
        return self.folder / "changes.csv"

    def _table(self, row: RunRow) -> Path:
        return self.folder / row.cells["table"]

    def _belongs_to(self, collection: Path) -> None:
        about = self.folder / "about.json"
        if about.exists() and (other := _collection_of(about)) != str(collection):
            raise UsageError(
                f"{self.folder} has the results of {other}, not of {collection}",
                advice="Give another folder with --out.",
            )
        if not about.exists() and any(self.folder.iterdir()):
            raise UsageError(f"{self.folder} is not empty and has no results", advice="Give another folder with --out.")
        made_by = {"method": METHOD, "benchctl": version("benchctl"), "numpy": version("numpy")}
        write_whole(about, (json.dumps({"collection": str(collection), **made_by}, indent=2) + "\n").encode())

    def _append(self, row: RunRow) -> None:
        """A row is on its way to the disk before the next run; a crash may cut off the last one."""
        with disk_errors("write", self._part):
            if self._file is None:
                self._end_torn_row()
                self._file = self._part.open("ab", buffering=0)
            self._file.write(as_csv([_line(row)]))

    def _end_torn_row(self) -> None:
        if not self._part.exists():
            write_whole(self._part, as_csv([RUN_COLUMNS]))
            return
        content = read_bytes(self._part)
        if not content.endswith(b"\n"):
            write_whole(self._part, content[: content.rfind(b"\n") + 1])

    def _write_changes(self, rows: list[RunRow]) -> None:
        """From the tables, a run after the other: there may be more of them than fit into memory."""
        part = self._changes.with_name(self._changes.name + PART)
        with disk_errors("write", self._changes):
            with part.open("wb") as file:
                file.write(as_csv([("run_folder", *columns())]))
                for row in rows:
                    if any(row.count(number) for number in ("changed", "new", "not_computed")):
                        file.write(as_csv((row.name, *cells) for cells in self._changed(row)))
            part.replace(self._changes)

    def _changed(self, row: RunRow) -> Iterator[list[str]]:
        lines = csv.reader(io.StringIO(read_bytes(self._table(row)).decode("utf-8"), newline=""))
        changes = next(lines).index("changes")
        yield from (cells for cells in lines if cells[changes])


def _line(row: RunRow) -> list[str]:
    return [row.cells[column] for column in RUN_COLUMNS]


def _rows(path: Path) -> Iterator[RunRow]:
    """The whole rows of a list; what a crash has cut off, or another program has changed, is worked on again."""
    if not path.exists():
        return
    whole, _, _ = read_bytes(path).rpartition(b"\n")
    text = io.StringIO(whole.decode("utf-8", errors="replace"), newline="")
    for cells in csv.DictReader(text):
        if tuple(cells) == RUN_COLUMNS and None not in cells.values() and _has_numbers(cells):
            yield RunRow(cells)


def _has_numbers(cells: Mapping[str, str]) -> bool:
    return all(cells[number].isdecimal() or not cells[number] for number in _NUMBERS)


def _collection_of(about: Path) -> str:
    with suppress(ValueError, LookupError, TypeError):
        return str(json.loads(read_bytes(about))["collection"])
    raise ArchiveError(f"{about} does not say which collection the results are of", advice="Remove that folder.")
