"""Clean output power against the rating: a row a load and channel, a column a length of burst, then without end."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from benchctl.documents.amplifier import Amplifier
from benchctl.measure.figure import Figure
from benchctl.measure.power import TOTAL
from benchctl.measure.words import burst_in_words
from benchctl.quantity import render
from benchctl.report.figures import conditions_in_words, coverage_in_words
from benchctl.report.story import Story
from benchctl.report.tables import Cell, Head, Table, heads, value_cell

Length = int | None  # of a burst, in cycles; None: a steady tone


@dataclass(frozen=True)
class PowerRow:
    """The clean power of one channel under one set of conditions, by length; `turn` counts from 1 where the same was
    measured again."""

    load_ohm: float | None
    frequency_hz: float | None
    supply_v: float | None
    channel: str
    turn: int
    rated_w: float | None
    by_length: dict[Length, Figure] = field(default_factory=dict)

    @property
    def conditions(self) -> str:
        """In words, the turn included where it is not the first."""
        again = f" ({self.turn})" if self.turn > 1 else ""
        return conditions_in_words(self.load_ohm, self.frequency_hz) + again


def power_rows(story: Story) -> list[PowerRow]:
    """Every clean power of the run. A tone at a level that the sequence set is not at the clean level, so not here."""
    rows: dict[object, list[PowerRow]] = {}
    for (load_ohm, frequency_hz, supply_v), figure in _clean_powers(story):
        key = (load_ohm, frequency_hz, supply_v, figure.channel)
        alike = rows.setdefault(key, [])
        row = next((row for row in alike if figure.burst_cycles not in row.by_length), None)
        if row is None:
            rated_w = None if figure.channel == TOTAL else _rated_w(story.amplifier, load_ohm)
            row = PowerRow(load_ohm, frequency_hz, supply_v, figure.channel, len(alike) + 1, rated_w)
            alike.append(row)
        row.by_length[figure.burst_cycles] = figure
    # What was measured together stands together: the channels, then their total.
    together: dict[object, list[PowerRow]] = {}
    for row in (row for alike in rows.values() for row in alike):
        together.setdefault((row.load_ohm, row.frequency_hz, row.supply_v, row.turn), []).append(row)
    return [row for group in together.values() for row in group]


_Conditions = tuple[float | None, float | None, float | None]


def _clean_powers(story: Story) -> Iterator[tuple[_Conditions, Figure]]:
    for entry in story.entries:
        step = story.step_of(entry)
        if entry.analysis == "continuous" and step and (step.settings.get("level_v") or step.set_to.level_v):
            continue
        supply_v = step.set_to.supply_v if step else None
        for figure in entry.figures:
            if figure.name in ("burst_power_clean", "continuous_power"):
                yield (entry.conditions.load_ohm, entry.conditions.frequency_hz, supply_v), figure


def _rated_w(amplifier: Amplifier | None, load_ohm: float | None) -> float | None:
    rating = amplifier.rating(load_ohm) if amplifier and load_ohm else None
    return None if rating is None else rating.power_w


def lengths_of(rows: Sequence[PowerRow]) -> list[Length]:
    """The lengths of burst, shortest first, and the steady tone last."""
    return sorted(
        {length for row in rows for length in row.by_length}, key=lambda length: (length is None, length or 0)
    )


def length_in_words(length: Length) -> str:
    """1 cycle, 8 cycles, continuous."""
    return "continuous" if length is None else burst_in_words(length)


def power_table(rows: Sequence[PowerRow]) -> Table | None:
    """The table, or None where no clean power was measured."""
    if not rows:
        return None
    lengths = lengths_of(rows)
    figures = [figure for row in rows for figure in row.by_length.values()]
    of_all = [each for each in (_frequency_in_words(rows), _supply_in_words(rows)) if each]
    table = Table(
        "Clean output power, W" + (f", at {' and '.join(of_all)}" if of_all else ""),
        (
            *heads("load", "frequency", "supply", "channel", numbers=["rated, W"]),
            *(Head(length_in_words(length), is_number=True) for length in lengths),
        ),
        tuple(_cells(row, lengths, rows) for row in rows),
        named=4,
        note=f"{coverage_in_words(figures)}. Below each value: its part of the rating.",
    )
    return table.without_empty_columns()


def _frequency_in_words(rows: Sequence[PowerRow]) -> str:
    """The one frequency of all rows; nothing where there are several."""
    (first, *others) = {row.frequency_hz for row in rows}
    return "" if others or first is None else render(first, "Hz")


def _supply_in_words(rows: Sequence[PowerRow]) -> str:
    """The one supply voltage of all rows; nothing where there are several."""
    (first, *others) = {row.supply_v for row in rows}
    return "" if others or first is None else f"{render(first, 'V')} of supply"


def _cells(row: PowerRow, lengths: Sequence[Length], rows: Sequence[PowerRow]) -> tuple[Cell, ...]:
    """What is the same in all rows stands in the caption."""
    again = f" ({row.turn})" if row.turn > 1 else ""
    frequency = "" if _frequency_in_words(rows) else conditions_in_words(None, row.frequency_hz)
    supply = "" if _supply_in_words(rows) or row.supply_v is None else render(row.supply_v, "V")
    return (
        Cell(conditions_in_words(row.load_ohm, None) + again),
        Cell(frequency),
        Cell(supply),
        Cell(row.channel),
        Cell("" if row.rated_w is None else f"{row.rated_w:g}", "number"),
        *(_power_cell(row.by_length, length, row.rated_w) for length in lengths),
    )


def _power_cell(by_length: Mapping[Length, Figure], length: Length, rated_w: float | None) -> Cell:
    figure = by_length.get(length)
    if figure is None:
        return Cell()
    cell = value_cell(figure)
    part = f"{100.0 * figure.value / rated_w:.0f} %" if rated_w else ""
    return Cell(cell.text, cell.look, cell.exact, ", ".join(filter(None, [part, figure.verdict])))
