"""Tables as CSV: UTF-8, a comma between cells, a dot in numbers; a cell that does not apply is empty."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from benchctl.export.tables import Column, Table

_OF_COLUMNS = (
    Column("table", "str", ""),
    Column("column", "str", ""),
    Column("unit", "str", ""),
    Column("meaning", "str", ""),
)


def csv_files(tables: Sequence[Table]) -> dict[str, bytes]:
    """A file for each table, and columns.csv, which says what each column means and in which unit it is."""
    rows = tuple((table.name, column.name, column.unit, column.meaning) for table in tables for column in table.columns)
    return {f"{table.name}.csv": _csv(table) for table in (*tables, Table("columns", _OF_COLUMNS, rows))}


def _csv(table: Table) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(column.name for column in table.columns)
    writer.writerows(_cells(row) for row in table.rows)
    return text.getvalue().encode("utf-8")


def _cells(row: Iterable[object]) -> Iterable[str]:
    return (_cell(value) for value in row)


def _cell(value: object) -> str:
    """A float with all the digits that identify it."""
    match value:
        case None:
            return ""
        case bool():
            return str(value).lower()
        case float():
            return repr(value)
        case _:
            return str(value)
