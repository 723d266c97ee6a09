"""The figures of a run as a table to compute with: from its journal or from figures.csv."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable

import pandas as pd

from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.earlier_names import RENAMED_VERDICTS
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.archive.tables.figures_csv import COLUMNS, EARLIER_COLUMNS, KINDS, LATER_COLUMNS, NUMBERS, rows_of
from benchctl.archive.tables.run_identity import RunIdentity
from benchctl.errors import ArchiveError


def figure_table(entries: Iterable[FiguresEntry], run: RunIdentity) -> pd.DataFrame:
    """The rows of figures.csv for these entries, columns `COLUMNS`; numbers that do not apply are missing."""
    return pd.DataFrame(list(rows_of(entries, run)), columns=list(COLUMNS)).astype(KINDS)


def read_figures(folder: RunFolder) -> pd.DataFrame:
    """figures.csv as a table with the columns of its version; what does not apply is '' or missing.

    Raises:
        ArchiveError: it is not there, or is not such a table.
    """
    content = io.BytesIO(read_bytes(folder.figures))
    try:
        cells = pd.read_csv(content, dtype="str", keep_default_na=False, encoding="utf-8")
        names = tuple(cells.columns)
        if not _are_of_some_version(names):
            raise ValueError(f"its columns are {', '.join(names)}, not {', '.join(COLUMNS)}")
        columns = {name: _numbers(cells[name]) if name in NUMBERS else cells[name] for name in names}
        columns["verdict"] = columns["verdict"].map(lambda verdict: RENAMED_VERDICTS.get(verdict, verdict))
        return pd.DataFrame(columns).astype({name: KINDS[name] for name in names})
    except (ValueError, TypeError, ArithmeticError) as error:
        raise ArchiveError(f"{folder.figures} is not a table of figures: {error}") from error


def _are_of_some_version(names: tuple[str, ...]) -> bool:
    """All columns of today, or without some of those that came later, or the earliest ones."""
    there = tuple(name for name in COLUMNS if name in names or name not in LATER_COLUMNS)
    return names in (there, EARLIER_COLUMNS)


def _numbers(cells: pd.Series[str]) -> pd.Series[float]:
    """Python reads a float exactly as it was written; not every version of pandas does."""
    return pd.Series([float(cell) if cell else math.nan for cell in cells], dtype="float64")
