"""figures.csv: a row a figure, in the order they were measured. The journal is the truth; this is its table."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

import pandas as pd

from benchctl.archive.entries import RENAMED_VERDICTS, FiguresEntry, entries_of
from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal import read_journal
from benchctl.archive.run_identity import RunIdentity, run_identity_of
from benchctl.errors import ArchiveError


class Column(NamedTuple):
    """A column: as what pandas keeps it, and what stands in it."""

    kind: str
    meaning: str


_EARLIER: Mapping[str, Column] = {
    "step": Column("str", "the step that measured it: number, kind, and the point of its sweep or turn of its repeat"),
    "load_ohm": Column("float64", "nominal load at every channel"),
    "frequency_hz": Column("float64", "of the drive; empty where nothing drove the amplifier"),
    "burst_cycles": Column("Int64", "length of the burst; empty of a steady tone"),
    "channel": Column("str", "the amplifier's, or `total`; empty of the amplifier as a whole"),
    "figure": Column("str", "its name: see the next table"),
    "value": Column("float64", "in the unit beside it"),
    "unit": Column("str", "a base unit; of a ratio 1, so that 0.01 is 1 %"),
    "expanded_uncertainty": Column("float64", "U = k u, in the same unit; empty of a bound"),
    "coverage_factor": Column("float64", "k"),
    "verdict": Column("str", "`passes`, `fails` or `inconclusive`; empty where nothing was required"),
    "capture": Column("str", "the records that it was computed from; empty where it comes from readings"),
    "time_s": Column("float64", "when, from the beginning of the run"),
    "bound": Column("str", "`at most` or `at least` where only that is known"),
}
_ADDED: Mapping[str, Column] = {
    "level_v": Column("float64", "level of the drive at the generator, V RMS"),
    "drive": Column(
        "str",
        "how that level was found: searched `clean`, searched `full` (the first cycle of the burst at the distortion "
        "bound), `tried` on the way of a search, `set` by the sequence or by the step; or `undriven`",
    ),
    "supply_set_v": Column("float64", "voltage that the supply was set to"),
    "driven": Column("str", "the channels that were driven, with a space between them"),
    "run": Column("str", "name of the run folder; a dry run has a name that is the same each time"),
    "amplifier": Column("str", "title of the amplifier file"),
    "serial": Column("str", "serial number in the amplifier file"),
    "simulated": Column("str", "`true` in a dry run, else `false`"),
    "contradiction": Column("str", "why nothing can be said of it, where instruments contradict each other"),
}
TABLE: Mapping[str, Column] = {**_EARLIER, **_ADDED}
COLUMNS = tuple(TABLE)
EARLIER_COLUMNS = tuple(_EARLIER)  # all that runs of earlier versions have
NUMBERS = tuple(name for name, column in TABLE.items() if column.kind != "str")
_KINDS = {name: column.kind for name, column in TABLE.items()}


def figure_table(entries: Iterable[FiguresEntry], run: RunIdentity) -> pd.DataFrame:
    """The rows of figures.csv for these entries, columns `COLUMNS`; numbers that do not apply are missing."""
    rows = [row | run.cells() for entry in entries for row in _rows(entry)]
    return pd.DataFrame(rows, columns=list(COLUMNS)).astype(_KINDS)


def _rows(entry: FiguresEntry) -> Iterator[dict[str, object]]:
    for figure in entry.figures:
        conditions = entry.conditions_of(figure)
        yield {
            "step": entry.step,
            "load_ohm": conditions.load_ohm,
            "frequency_hz": conditions.frequency_hz,
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
            "level_v": conditions.level_v,
            "drive": conditions.drive,
            "supply_set_v": conditions.supply_set_v,
            "driven": " ".join(conditions.driven),
            "contradiction": figure.contradiction,
        }


def write_figures(folder: RunFolder, entries: Iterable[FiguresEntry], run: RunIdentity) -> None:
    """Write figures.csv whole, unless that is what it holds; every float with all digits that tell it from its
    neighbours.

    Raises:
        ArchiveError: it cannot be written.
    """
    table = figure_table(entries, run).to_csv(index=False, lineterminator="\n")
    if not (folder.figures.is_file() and read_bytes(folder.figures) == table.encode("utf-8")):
        folder.write_atomically("figures.csv", table)


def read_figures(folder: RunFolder) -> pd.DataFrame:
    """figures.csv as a table with columns `COLUMNS` or `EARLIER_COLUMNS`; what does not apply is '' or missing.

    Raises:
        ArchiveError: it is not there, or is no such table.
    """
    content = io.BytesIO(read_bytes(folder.figures))
    try:
        cells = pd.read_csv(content, dtype="str", keep_default_na=False, encoding="utf-8")
        names = tuple(cells.columns)
        if names not in (COLUMNS, EARLIER_COLUMNS):
            raise ValueError(f"its columns are {', '.join(names)}, not {', '.join(COLUMNS)}")
        columns = {name: _numbers(cells[name]) if name in NUMBERS else cells[name] for name in names}
        columns["verdict"] = columns["verdict"].map(lambda verdict: RENAMED_VERDICTS.get(verdict, verdict))
        return pd.DataFrame(columns).astype({name: _KINDS[name] for name in names})
    except (ValueError, TypeError, ArithmeticError) as error:
        raise ArchiveError(f"{folder.figures} is no table of figures: {error}") from error


def _numbers(cells: pd.Series[str]) -> pd.Series[float]:
    """Python reads a float exactly as it was written, which not every version of pandas does."""
    return pd.Series([float(cell) if cell else math.nan for cell in cells], dtype="float64")


def rebuild_figures(folder: RunFolder) -> pd.DataFrame:
    """Write figures.csv anew from the journal alone, and return its table.

    Raises:
        ArchiveError: the journal is broken, or the table cannot be written.
    """
    events = read_journal(folder.journal).events
    entries, run = entries_of(events), run_identity_of(events)
    write_figures(folder, entries, run)
    return figure_table(entries, run)
