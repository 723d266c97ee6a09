"""figures.csv: one row for each figure, in the order of measurement. It is made from the journal.

A run writes it once, when it ends. After a killed run it is made again from the journal.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import is_being_written
from benchctl.archive.journal.entries import FiguresEntry, entries_of
from benchctl.archive.journal.events import FIGURES, RUN_ENDED, STEP_GIVEN_UP
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.tables.run_identity import RunIdentity, run_identity_of


class Column(NamedTuple):
    """A column: its type in pandas, what its cells mean, and the unit of its numbers, if it is the same in all rows."""

    kind: str
    meaning: str
    unit: str = ""


_EARLIER: Mapping[str, Column] = {
    "step": Column("str", "the step that measured it: number, kind, and the point of its sweep or turn of its repeat"),
    "load_ohm": Column("float64", "nominal load at every channel", "ohm"),
    "frequency_hz": Column("float64", "of the drive; empty where nothing drove the amplifier", "Hz"),
    "burst_cycles": Column("Int64", "length of the burst; empty of a steady tone"),
    "channel": Column(
        "str", "the amplifier's, or `total`, or a point of the multimeter; empty of the amplifier as a whole"
    ),
    "figure": Column("str", "its name"),
    "value": Column("float64", "in the unit beside it"),
    "unit": Column("str", "a base unit; of a ratio 1, so that 0.01 is 1 %"),
    "expanded_uncertainty": Column("float64", "U = k u, in the same unit; empty of a bound"),
    "coverage_factor": Column("float64", "k: how many standard uncertainties that is"),
    "verdict": Column("str", "`passes`, `fails` or `inconclusive`; empty where nothing was required"),
    "capture": Column("str", "the records that it was computed from; empty where it comes from readings"),
    "time_s": Column("float64", "when, from the beginning of the run", "s"),
    "bound": Column("str", "`at most` or `at least` where only that is known"),
}
_ADDED: Mapping[str, Column] = {
    "level_v": Column("float64", "level of the drive at the generator, V RMS", "V"),
    "drive": Column(
        "str",
        "how that level was found: searched `clean`, searched `full` (the first cycle of the burst at the distortion "
        "bound), `tried` on the way of a search, `set` by the sequence or by the step; or `undriven`",
    ),
    "supply_set_v": Column("float64", "voltage that the supply was set to", "V"),
    "driven": Column("str", "the channels that were driven, with a space between them"),
    "run": Column("str", "name of the run folder; a dry run has a name that is the same each time"),
    "amplifier": Column("str", "title of the amplifier file"),
    "serial": Column("str", "serial number in the amplifier file"),
    "simulated": Column(
        "str", "`true` where any instrument of the run was simulated, else `false`; empty where that is not on record"
    ),
    "contradiction": Column("str", "why nothing can be said of it, where instruments contradict each other"),
    "bound_reason": Column("str", "why only a bound is known, and what to do, where that can be said"),
    "bursts": Column(
        "str", "what lay between bursts and who began them, where the generator could not do as the sequence asks"
    ),
}
_ADDED_LATER: Mapping[str, Column] = {
    "supply_at": Column(
        "str",
        "`terminals` where that voltage was held at the amplifier's terminals, `stated` where a power was computed for "
        "that voltage there; empty: at the supply's own output",
    ),
    "thd_limit": Column("float64", "distortion (THD+N) for which a clean or full level was searched, as a ratio", "1"),
}
TABLE: Mapping[str, Column] = {**_EARLIER, **_ADDED, **_ADDED_LATER}
COLUMNS = tuple(TABLE)
EARLIER_COLUMNS = tuple(_EARLIER)  # the only columns in runs of the earliest versions
LATER_COLUMNS = tuple(_ADDED_LATER)  # which runs lack that kept all the others
NUMBERS = tuple(name for name, column in TABLE.items() if column.kind != "str")
KINDS = {name: column.kind for name, column in TABLE.items()}
UNITS = {name: column.unit for name, column in TABLE.items() if column.unit}


def rows_of(entries: Iterable[FiguresEntry], run: RunIdentity) -> Iterator[dict[str, object]]:
    """The rows of figures.csv for these entries, by column; None where a column does not apply."""
    for entry in entries:
        for row in _rows_of(entry):
            yield row | run.cells()


def _rows_of(entry: FiguresEntry) -> Iterator[dict[str, object]]:
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
            "bound_reason": figure.bound_reason,
            "bursts": conditions.bursts,
            "supply_at": conditions.supply_at,
            "thd_limit": conditions.thd_limit,
        }


def write_figures(folder: RunFolder, entries: Iterable[FiguresEntry], run: RunIdentity) -> None:
    """Write figures.csv whole, unless it already holds this; every float with all the digits that identify it.

    Raises:
        ArchiveError: it cannot be written.
    """
    table = figures_table(entries, run)
    if not (folder.figures.is_file() and read_bytes(folder.figures) == table):
        folder.write_atomically(folder.figures.name, table)


def renew_figures(folder: RunFolder) -> bool:
    """Write figures.csv from the journal if a killed run left none, or only the table of an earlier part.

    A table that never followed from the journal is left as it is, so that `verify` reports it.

    Returns:
        Whether it was written.

    Raises:
        ArchiveError: the journal is broken, or the table cannot be written.
    """
    if not folder.is_cut_off or is_being_written(folder):
        return False
    events = read_journal(folder.journal).events
    table = _table_of(events)
    if folder.figures.is_file():
        found = read_bytes(folder.figures)
        if found == table or found not in _earlier_tables(events):
            return False
    folder.write_atomically(folder.figures.name, table)
    return True


def _earlier_tables(events: Sequence[Mapping[str, Any]]) -> Iterator[bytes]:
    """The table as it was before each event that changes it."""
    for number, event in enumerate(events):
        if event["event"] in (FIGURES, STEP_GIVEN_UP, RUN_ENDED):
            yield _table_of(events[:number])


def _table_of(events: Sequence[Mapping[str, Any]]) -> bytes:
    return figures_table(entries_of(events), run_identity_of(events))


def figures_table(entries: Iterable[FiguresEntry], run: RunIdentity) -> bytes:
    """The content of figures.csv for these entries."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([cell(row[name], KINDS[name]) for name in COLUMNS] for row in rows_of(entries, run))
    return text.getvalue().encode("utf-8")


def cell(value: object, kind: str) -> str:
    """A value as the table has it: a float with all the digits that identify it, nothing where there is none."""
    if value is None:
        return ""
    return repr(float(value)) if kind == "float64" else str(value)  # type: ignore[arg-type]
