"""The table of a run computed again: the columns of figures.csv as they are today, and beside them what was written."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from benchctl.archive.reanalysis.again import Compared
from benchctl.archive.tables.figures_csv import COLUMNS, KINDS, cell, rows_of
from benchctl.archive.tables.run_identity import RunIdentity
from benchctl.measure.method import METHOD

# Column -> what its cells mean.
ADDED: Mapping[str, str] = {
    "method": "number of the method that computed the columns before this one",
    "version": "of benchctl, that did",
    "method_before": "number of the method that computed what the run wrote",
    "value_before": "value that the run wrote; empty where the figure is new",
    "expanded_uncertainty_before": "its U; empty of a bound",
    "coverage_factor_before": "its k",
    "bound_before": "`at most` or `at least` where only that was known",
    "verdict_before": "verdict that the run wrote",
    "difference": "value less value before, in the unit of the figure",
    "difference_in_u": "the same in parts of the U that the run wrote; empty where a bound was",
    "changes": "parts that differ beyond rounding, with a space between them; `new`, or `not computed`; empty where "
    "nothing differs",
    "why": "what changed in the method, as far as it concerns this figure; or why it cannot be computed",
}
_MEASURED = ("value", "expanded_uncertainty", "coverage_factor", "verdict", "bound", "bound_reason", "contradiction")


def columns() -> tuple[str, ...]:
    """The columns of the table."""
    return (*COLUMNS, *ADDED)


def table_of(figures: Iterable[Compared], run: RunIdentity, version: str) -> bytes:
    """The table as CSV; the same bytes for the same figures."""
    return as_csv([columns(), *(_cells(figure, run, version) for figure in figures)])


def as_csv(rows: Iterable[Sequence[str]]) -> bytes:
    """Rows as CSV in UTF-8, a line each."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode("utf-8")


def _cells(figure: Compared, run: RunIdentity, version: str) -> list[str]:
    (row,) = rows_of([replace(figure.entry, figures=[figure.figure])], run)
    if figure.now is None:
        row |= dict.fromkeys(_MEASURED)
    return [cell(row[name], KINDS[name]) for name in COLUMNS] + list(_added(figure, version))


def _added(figure: Compared, version: str) -> Iterator[str]:
    before = figure.before
    yield str(METHOD)
    yield version
    yield str(figure.entry.method)
    for number in ("value", "expanded_uncertainty", "coverage_factor"):
        yield cell(getattr(before, number, None), "float64")
    yield before.bound if before else ""
    yield before.verdict if before else ""
    yield cell(figure.difference if figure.changes else None, "float64")
    yield cell(figure.difference_in_u if figure.changes else None, "float64")
    yield " ".join(figure.changes) if figure.now and figure.before else "".join(figure.changes)
    yield figure.why
