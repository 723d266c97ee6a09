"""figures.csv: a row a figure, in the order they were measured. The journal is the truth; this is its table."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Iterator

import pandas as pd

from benchctl.archive.entries import RENAMED_VERDICTS, FiguresEntry, entries_of
from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal import read_journal
from benchctl.errors import ArchiveError

_TYPES = {
    "step": "str",
    "load_ohm": "float64",
    "frequency_hz": "float64",
    "burst_cycles": "Int64",
    "channel": "str",
    "figure": "str",
    "value": "float64",
    "unit": "str",
    "expanded_uncertainty": "float64",
    "coverage_factor": "float64",
    "verdict": "str",
    "capture": "str",
    "time_s": "float64",
    "bound": "str",  # "", "at most" or "at least"
}
COLUMNS = tuple(_TYPES)
NUMBERS = tuple(name for name, kind in _TYPES.items() if kind != "str")


def figure_table(entries: Iterable[FiguresEntry]) -> pd.DataFrame:
    """The rows of figures.csv for these entries, columns `COLUMNS`; numbers that do not apply are missing."""
    rows = [row for entry in entries for row in _rows(entry)]
    return pd.DataFrame(rows, columns=list(COLUMNS)).astype(_TYPES)


def _rows(entry: FiguresEntry) -> Iterator[dict[str, object]]:
    for figure in entry.figures:
        yield {
            "step": entry.step,
            "load_ohm": entry.conditions.load_ohm if figure.load_ohm is None else figure.load_ohm,
            "frequency_hz": entry.conditions.frequency_hz if figure.frequency_hz is None else figure.frequency_hz,
            "burst_cycles": figure.burst_cycles,
            "channel": figure.channel,
            "figure": figure.name,
            "value": figure.value,
            "unit": figure.unit,
            "expanded_uncertainty": figure.expanded_uncertainty,
            "coverage_factor": figure.coverage_factor,
            "verdict": figure.verdict,
            "capture": figure.capture,
            "time_s": entry.time_s,
            "bound": figure.bound,
        }


def write_figures(folder: RunFolder, entries: Iterable[FiguresEntry]) -> None:
    """Write figures.csv whole, unless that is what it holds; every float with all digits that tell it from its
    neighbours.

    Raises:
        ArchiveError: it cannot be written.
    """
    table = figure_table(entries).to_csv(index=False, lineterminator="\n")
    if not (folder.figures.is_file() and read_bytes(folder.figures) == table.encode("utf-8")):
        folder.write_atomically("figures.csv", table)


def read_figures(folder: RunFolder) -> pd.DataFrame:
    """figures.csv as a table with columns `COLUMNS`; texts that do not apply are '', numbers missing.

    Raises:
        ArchiveError: it is not there, or is no such table.
    """
    content = io.BytesIO(read_bytes(folder.figures))
    try:
        cells = pd.read_csv(content, dtype="str", keep_default_na=False, encoding="utf-8")
        if tuple(cells.columns) != COLUMNS:
            raise ValueError(f"its columns are {', '.join(cells.columns)}, not {', '.join(COLUMNS)}")
        columns = {name: _numbers(cells[name]) if name in NUMBERS else cells[name] for name in COLUMNS}
        columns["verdict"] = columns["verdict"].map(lambda verdict: RENAMED_VERDICTS.get(verdict, verdict))
        return pd.DataFrame(columns).astype(_TYPES)
    except (ValueError, TypeError) as error:
        raise ArchiveError(f"{folder.figures} is no table of figures: {error}") from error


def _numbers(cells: pd.Series[str]) -> pd.Series[float]:
    """Python reads a float exactly as it was written, which not every version of pandas does."""
    return pd.Series([float(cell) if cell else math.nan for cell in cells], dtype="float64")


def rebuild_figures(folder: RunFolder) -> pd.DataFrame:
    """Write figures.csv anew from the journal alone, and return its table.

    Raises:
        ArchiveError: the journal is broken, or the table cannot be written.
    """
    entries = entries_of(read_journal(folder.journal).events)
    write_figures(folder, entries)
    return figure_table(entries)
