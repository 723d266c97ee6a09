"""Output power of each tone and clean burst: a row a load and channel, a column a length of burst, then the tone.

Power at a clean level stands against the rating. Power at a level that the sequence set stands in a table of its own,
and so does that of an older run, which did not keep how its levels were found.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import burst_in_words
from benchctl.measure.conditions import Conditions, Drive, common_to
from benchctl.quantity import render
from benchctl.report.sections.tables import Cell, Head, Table, coverage_in_words, heads, step_in_short, value_cell

# The bound of most ratings, which a picture need not name.
USUAL_LIMIT = 0.01

Length = int | None  # of a burst, in cycles; None: a steady tone

_TITLES: Mapping[Drive, str] = {
    "clean": "Clean output power, W",
    "set": "Output power at set levels, W",
    "": "Output power, W; how its level was found is not on record",
}


@dataclass(frozen=True)
class PowerRow:
    """The power of one channel under one set of conditions, by length.

    `turn` counts from 1 where the same was measured again; `step` is the first that measured it. Each length has its
    own clean level, so that is none of the conditions. `rated_w`: of clean power only.
    """

    conditions: Conditions
    channel: str
    turn: int
    step: str
    rated_w: float | None
    by_length: dict[Length, Figure] = field(default_factory=dict)
    bursts: dict[str, None] = field(default_factory=dict)
    """what bursts were like, where that is not as usual; a row holds a steady tone too"""

    @property
    def is_clean(self) -> bool:
        """Whether its levels were searched clean."""
        return self.conditions.drive == "clean"

    @property
    def series(self) -> str:
        """Load, frequency and turn in words."""
        at = str(Conditions(self.conditions.load_ohm, self.conditions.frequency_hz))
        limit = self.conditions.thd_limit
        at += f", {render(limit, '1')} THD+N" if limit not in {None, USUAL_LIMIT} else ""
        return at + (f" ({self.turn})" if self.turn > 1 else "")


def power_rows(entries: Iterable[FiguresEntry], amplifier: Amplifier | None) -> list[PowerRow]:
    """Every power at a steady tone and every clean power of a burst."""
    rows: dict[object, list[PowerRow]] = {}
    for step, found, figure in _powers(entries):
        conditions = replace(found, bursts="")
        alike = rows.setdefault((conditions, figure.channel), [])
        row = next((row for row in alike if figure.burst_cycles not in row.by_length), None)
        if row is None:
            rated_w = _rated_w(amplifier, conditions) if figure.channel != TOTAL else None
            row = PowerRow(conditions, figure.channel, len(alike) + 1, step, rated_w)
            alike.append(row)
        row.by_length[figure.burst_cycles] = figure
        if found.bursts:
            row.bursts[found.bursts] = None
    # What was measured together stands together: the channels, then their total.
    together: dict[object, list[PowerRow]] = {}
    for row in (row for alike in rows.values() for row in alike):
        together.setdefault((row.conditions, row.turn), []).append(row)
    return [row for group in together.values() for row in group]


def _powers(entries: Iterable[FiguresEntry]) -> Iterator[tuple[str, Conditions, Figure]]:
    for entry in entries:
        for figure in entry.figures:
            found = entry.conditions_of(figure)
            if figure.name == "burst_power_clean":  # its name says how its level was found, in older runs too
                found = replace(found, drive="clean")
            elif figure.name != "continuous_power":
                continue
            elif found.drive not in {"set", "clean"}:
                found = replace(found, drive="")
            yield entry.step, replace(found, level_v=None) if found.drive == "clean" else found, figure


def _rated_w(amplifier: Amplifier | None, conditions: Conditions) -> float | None:
    if amplifier is None or conditions.drive != "clean" or not conditions.load_ohm:
        return None
    rating = amplifier.rating(conditions.load_ohm)
    if rating is None or (conditions.thd_limit or 0.0) > rating.thd_n:
        return None
    return rating.power_w


def lengths_of(rows: Sequence[PowerRow]) -> list[Length]:
    """The lengths of burst, shortest first, and the steady tone last."""
    return sorted(
        {length for row in rows for length in row.by_length}, key=lambda length: (length is None, length or 0)
    )


def length_in_words(length: Length) -> str:
    """1 cycle, 8 cycles, continuous."""
    return "continuous" if length is None else burst_in_words(length)


def power_tables(rows: Sequence[PowerRow], usual: Conditions) -> list[Table]:
    """A table for each way in which levels were found: clean ones first. `usual`: what need not be said."""
    drives = sorted({row.conditions.drive for row in rows}, key=lambda drive: list(_TITLES).index(drive))
    return [_table(drive, [row for row in rows if row.conditions.drive == drive], usual) for drive in drives]


def _table(drive: Drive, rows: Sequence[PowerRow], usual: Conditions) -> Table:
    lengths = lengths_of(rows)
    said = replace(common_to(row.conditions for row in rows), load_ohm=None, level_v=None, drive=drive)
    of_all = str(replace(said.without(usual), drive=""))
    figures = [figure for row in rows for figure in row.by_length.values()]
    rated = "Below each value: its part of the rating" if any(row.rated_w for row in rows) else ""
    bursts = [f"B{said[1:]}" for said in dict.fromkeys(said for row in rows for said in row.bursts)]
    table = Table(
        _TITLES[drive] + (f": {of_all}" if of_all else ""),
        (
            *heads("step", "load", "frequency", "supply", "level", "THD+N", "driven", "channel", numbers=["rated, W"]),
            *(Head(length_in_words(length), is_number=True) for length in lengths),
        ),
        tuple(_cells(row, lengths, said, with_step=any(each.turn > 1 for each in rows)) for row in rows),
        named=8,
        note="".join(f"{sentence}. " for sentence in (coverage_in_words(figures), rated, *bursts) if sentence).rstrip(),
    )
    return table.without_empty_columns()


def _cells(row: PowerRow, lengths: Sequence[Length], said: Conditions, *, with_step: bool) -> tuple[Cell, ...]:
    """What is the same in all rows stands in the caption; the step where nothing else tells two rows apart."""
    more = row.conditions.without(said)
    return (
        Cell(step_in_short(row.step) if with_step else ""),
        Cell(_quantity(row.conditions.load_ohm, "ohm")),
        Cell(_quantity(more.frequency_hz, "Hz")),
        Cell(_quantity(more.supply_set_v, "V")),
        Cell(_quantity(more.level_v, "V")),
        Cell(_quantity(more.thd_limit, "1")),
        Cell(" and ".join(more.driven)),
        Cell(row.channel),
        Cell("" if row.rated_w is None else f"{row.rated_w:g}", "number"),
        *(_power_cell(row.by_length, length, row.rated_w) for length in lengths),
    )


def _quantity(value: float | None, unit: str) -> str:
    return "" if value is None else render(value, unit)


def _power_cell(by_length: Mapping[Length, Figure], length: Length, rated_w: float | None) -> Cell:
    figure = by_length.get(length)
    if figure is None:
        return Cell()
    cell = value_cell(figure)
    at_least = "≥ " if figure.bound else ""
    part = f"{at_least}{100.0 * figure.value / rated_w:.0f} %" if rated_w else ""
    return Cell(cell.text, cell.look, cell.exact, ", ".join(filter(None, [part, figure.verdict])))
