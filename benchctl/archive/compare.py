"""Compares what is written in a run folder with what is computed again: figures and tables."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from benchctl.archive.journal.earlier_names import RENAMED_FIGURES
from benchctl.archive.journal.entries import last_place
from benchctl.archive.tables.figures_csv import EARLIER_COLUMNS, LATER_COLUMNS
from benchctl.measure.budget.figure import Figure

if TYPE_CHECKING:
    import pandas as pd

# Allowance for decimal fractions without an exact binary form, when a difference is compared with one unit.
_ONE_UNIT = 1.0 + 1e-6
# A spreadsheet that has saved the table again keeps 15 digits.
_SAME_CELL = 1e-12


@dataclass(frozen=True)
class Difference:
    """One difference: the figure, which part of it, the value as written, and the value as computed again."""

    figure: str
    what: str
    written: str
    outcome: str

    def __str__(self) -> str:
        return f"{self.figure}: {self.what} is written as {self.written}, but {self.outcome}"


def label(step: str, figure: Figure) -> str:
    """A figure in words, as in "burst_power_clean of A at 8 cycles in step '5 measure_burst'"."""
    channel = f" of {figure.channel}" if figure.channel else ""
    cycles = f" at {figure.burst_cycles} cycles" if figure.burst_cycles is not None else ""
    load = f" into {figure.load_ohm:g} ohm" if figure.load_ohm is not None else ""
    frequency = f" at {figure.frequency_hz:g} Hz" if figure.frequency_hz is not None else ""
    return f"{figure.name}{channel}{cycles}{load}{frequency} in step '{step}'"


def identity(figure: Figure) -> tuple[str, str, int | None, float | None, float | None]:
    """What two figures of one analysis must share to be the same figure."""
    return figure.name, figure.channel, figure.burst_cycles, figure.load_ohm, figure.frequency_hz


def differences(step: str, written: Figure, computed: Figure) -> Iterator[Difference]:
    """The parts of a figure that differ by more than one unit in the last stored place.

    The verdict is not compared: it comes from the step, not from the analysis.
    """
    for what in unlike(written, computed):
        stored, fresh = getattr(written, what), getattr(computed, what)
        yield Difference(label(step, written), what, repr(stored), f"comes out as {fresh!r}")


def unlike(written: Figure, computed: Figure) -> Iterator[str]:
    """The names of the parts that differ by more than one unit in the last stored place."""
    place = last_place(written)
    for what in ("value", "expanded_uncertainty", "coverage_factor"):
        if not _same_number(getattr(written, what), getattr(computed, what), place):
            yield what
    for what in ("unit", "bound", "bound_reason", "capture"):
        if getattr(written, what) != getattr(computed, what):
            yield what


def _same_number(stored: float | None, fresh: float | None, place: int | None) -> bool:
    if stored is None or fresh is None:
        return stored is fresh
    return abs(stored - fresh) <= (0.0 if place is None else _ONE_UNIT * 10.0**place)


def table_differences(written: pd.DataFrame, journal: pd.DataFrame) -> list[Difference]:
    """Where the table found differs from the table that follows from the journal; both have columns of figures.csv."""
    if len(written) != len(journal):
        return [Difference("figures.csv", "the table", f"{len(written)} rows", f"the journal gives {len(journal)}")]
    if gone := [name for name in journal.columns if name not in written.columns and _is_kept(name, journal)]:
        return [Difference("figures.csv", "the table", "something else", f"the journal gives {', '.join(gone)} too")]
    return [
        _cell_difference(row, column, stored, fresh)
        for column in written.columns
        for row, (stored, fresh) in enumerate(zip(written[column].tolist(), journal[column].tolist(), strict=True))
        if not (_same_cell(stored, fresh) or (column == "figure" and _is_renamed(stored, fresh)))
    ]


def _is_renamed(stored: object, fresh: object) -> bool:
    """Whether a table of an earlier version has the figure under the name that it had then."""
    return isinstance(stored, str) and RENAMED_FIGURES.get(stored) == fresh


def _is_kept(column: str, journal: pd.DataFrame) -> bool:
    """Whether the run kept the columns that runs of earlier versions lack."""
    return column not in (*EARLIER_COLUMNS, *LATER_COLUMNS) and bool((journal["run"] != "").any())


def _same_cell(stored: Any, fresh: Any) -> bool:
    if isinstance(stored, str):
        return bool(stored == fresh)
    import pandas as pd  # noqa: PLC0415 - preflight loads this module and compares no tables

    if pd.isna(stored) or pd.isna(fresh):
        return bool(pd.isna(stored) and pd.isna(fresh))
    return math.isclose(stored, fresh, rel_tol=_SAME_CELL)


def _cell_difference(row: int, column: str, stored: object, fresh: object) -> Difference:
    line = row + 2  # a header, and lines count from 1
    return Difference(f"figures.csv:{line}", column, f"'{stored}'", f"the journal gives '{fresh}'")
