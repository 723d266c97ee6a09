"""The closing tables of a run, made from its figures. Each row says its conditions, and no row is left out."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from rich import table as rich_table
from rich.console import Group, RenderableType
from rich.text import Text

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.archive.journal.simulation import Simulation
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.guard.confirmation import Confirmation
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import burst_in_words, unit_in_words, value_in_words
from benchctl.measure.conditions import Conditions, common_to
from benchctl.quantity import render
from benchctl.report.sections.rated_power import power_rows, power_tables
from benchctl.report.sections.tables import Cell, Head, Table, heads, look_of, step_in_short, value_cell

_STYLES = {"passes": "green", "fails": "bold red", "untold": "yellow"}
# The columns against frequency, in this order. A finer sweep is shown with this many frequencies; figures.csv has all.
_AGAINST_FREQUENCY = ("gain", "phase", "channel_balance", "crosstalk")
_MOST_FREQUENCIES = 12
# Figures with a table of their own; all others are in the last one.
_TABULATED = ("idle", "burst", "continuous")
_FULL_POWERS = tuple(f"burst_power_{which}" for which in ("first", "highest", "lowest", "last"))
_OF_HALVES = ("half_power", "half_load")
_OF_SUPPLY: Mapping[str, str] = {
    "supply_current": "current, A",
    "supply_current_peak": "peak, A",
    "supply_voltage": "at terminals, V",
    "supply_output_voltage": "at supply, V",
    "efficiency": "efficiency, %",
    "heatsink_temperature": "heatsink, degC",
}


def closing_tables(
    entries: Sequence[FiguresEntry],
    amplifier: Amplifier,
    confirmations: Sequence[Confirmation] = (),
    positions: Mapping[str, str] | None = None,
    simulation: Simulation | None = None,
) -> RenderableType:
    """The positions of controls, then what was measured: idle, output power per channel, full drive, supply draw, and
    the rest. At the end, in red, what is not known to be off. In a simulated run each title says so.
    """
    usual = Conditions(driven=tuple(amplifier.channels))
    tables = [
        _positions_table(positions or {}),
        _figures_table("Idle", [entry for entry in entries if entry.analysis == "idle"], usual),
        *power_tables(power_rows(entries, amplifier), usual),
        _full_drive_table(entries, usual),
        _supply_table(entries, usual),
        *_response_tables(entries, usual),
        _other_table(entries, usual),
    ]
    unconfirmed = _unconfirmed_table(confirmations)
    mark = f"{simulation.word}. " if simulation is not None and simulation.word else ""
    shown = [_shown(table, mark) for table in tables if table.rows]
    return Group(*shown, *([unconfirmed] if unconfirmed.row_count else []))


# -- on the terminal ---------------------------------------------------------------------------------------------------


def _shown(table: Table, mark: str) -> rich_table.Table:
    """A column without content is left out; the mark is before the title."""
    kept = table.without_empty_columns()
    shown = _empty(f"{mark}{kept.caption}", kept.heads)
    for row in kept.rows:
        shown.add_row(*(_text(cell) for cell in row))
    if kept.note:
        shown.caption, shown.caption_justify = kept.note, "left"
    return shown


def _empty(title: str, columns: Sequence[Head]) -> rich_table.Table:
    table = rich_table.Table(title=title, title_justify="left", title_style="bold")
    for column in columns:
        table.add_column(column.text, justify="right" if column.is_number else "left")
    return table


def _text(cell: Cell) -> Text:
    """A note about a value is below it."""
    style = _STYLES.get(cell.look, "")
    return Text("\n".join(filter(None, [cell.text, cell.note])), style=style)


# -- rows and what they have in common ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Row:
    """`names` are what distinguishes a row from others under the same conditions."""

    step: str
    conditions: Conditions
    names: tuple[str, ...]
    cells: tuple[Cell, ...]


def _table(title: str, names: Sequence[str], numbers: Sequence[str], rows: Sequence[_Row], usual: Conditions) -> Table:
    """Conditions that all rows share are in the title. Steps are named if nothing else distinguishes two rows."""
    told = [row.conditions.without(usual) for row in rows]
    said = common_to(told)
    ats = [str(conditions.without(said)) for conditions in told]
    is_apart = len({(at, row.names) for at, row in zip(ats, rows, strict=True)}) == len(rows)
    return Table(
        f"{title}: {said}" if str(said) else title,
        heads("step", "at", *names, numbers=numbers),
        tuple(
            (Cell("" if is_apart else step_in_short(row.step)), Cell(at), *map(Cell, row.names), *row.cells)
            for at, row in zip(ats, rows, strict=True)
        ),
    )


# -- the tables --------------------------------------------------------------------------------------------------------


def _positions_table(positions: Mapping[str, str]) -> Table:
    """The positions of the controls. With another gain or with a filter, the same amplifier measures differently."""
    rows = tuple((Cell(control), Cell(position)) for control, position in positions.items())
    return Table("Controls, as the operator gave them", heads("control", "position"), rows)


def _figures_table(title: str, entries: Sequence[FiguresEntry], usual: Conditions) -> Table:
    """One row for each figure, except those that are in a table against frequency."""
    rows = [
        _Row(entry.step, entry.conditions_of(figure), (figure.name, figure.channel), _value_unit_verdict(figure))
        for entry in entries
        for figure in entry.figures
        if not _stands_against_frequency(figure)
    ]
    return _table(title, ["figure", "channel"], ["value", "unit", "verdict"], rows, usual)


def _value_unit_verdict(figure: Figure) -> tuple[Cell, Cell, Cell]:
    return Cell(value_in_words(figure)), Cell(unit_in_words(figure)), Cell(figure.verdict, look_of(figure.verdict))


def _cell(figures: Sequence[Figure], name: str) -> Cell:
    """The value in the colour of its verdict; the verdict is named unless it is a pass."""
    figure = next((figure for figure in figures if figure.name == name), None)
    if figure is None:
        return Cell()
    cell = value_cell(figure)
    return replace(cell, note="" if figure.verdict == "passes" else figure.verdict)


def _full_drive_table(entries: Sequence[FiguresEntry], usual: Conditions) -> Table:
    rows = [row for entry in entries if entry.analysis == "burst" for row in _full_drive_rows(entry)]
    return _table(
        "Bursts at full drive (first cycle at the distortion bound), W",
        ["burst", "channel"],
        [*(name.removeprefix("burst_power_") for name in _FULL_POWERS), "droop, %", "peak, V"],
        rows,
        usual,
    )


def _full_drive_rows(entry: FiguresEntry) -> Iterator[_Row]:
    powers = [figure for figure in entry.figures if figure.name in _FULL_POWERS]
    for channel in sorted({figure.channel for figure in powers}, key=lambda name: (name == TOTAL, name)):
        own = [figure for figure in entry.figures if figure.channel == channel]
        first = next(figure for figure in own if figure.name in _FULL_POWERS)
        cells = tuple(_cell(own, name) for name in (*_FULL_POWERS, "droop", "output_peak"))
        yield _Row(entry.step, entry.conditions_of(first), (burst_in_words(first.burst_cycles or 1), channel), cells)


def _supply_table(entries: Sequence[FiguresEntry], usual: Conditions) -> Table:
    rows = [row for entry in entries if entry.analysis in ("burst", "continuous") for row in _supply_rows(entry)]
    return _table("Supply and heat", ["drive"], list(_OF_SUPPLY.values()), rows, usual)


def _supply_rows(entry: FiguresEntry) -> Iterator[_Row]:
    found = [figure for figure in entry.figures if figure.name in _OF_SUPPLY and not figure.channel]
    if found:
        cycles = found[0].burst_cycles
        drive = burst_in_words(cycles) if cycles else "continuous"
        yield _Row(entry.step, entry.conditions_of(found[0]), (drive,), tuple(_cell(found, n) for n in _OF_SUPPLY))


def _stands_against_frequency(figure: Figure) -> bool:
    return figure.name in _AGAINST_FREQUENCY and figure.frequency_hz is not None


def _response_tables(entries: Sequence[FiguresEntry], usual: Conditions) -> Iterator[Table]:
    """One for each entry whose figures are against frequency: a row for each frequency, a column for each figure and
    channel.
    """
    for entry in entries:
        swept = [figure for figure in entry.figures if _stands_against_frequency(figure)]
        if swept:
            yield _response_table(entry, swept, usual)


def _response_table(entry: FiguresEntry, swept: Sequence[Figure], usual: Conditions) -> Table:
    def place(figure: Figure) -> tuple[int, str]:
        return _AGAINST_FREQUENCY.index(figure.name), figure.channel

    columns = sorted({place(figure) for figure in swept})
    cells = {(figure.frequency_hz, place(figure)): figure for figure in swept}
    names = {place(figure): f"{figure.name} {figure.channel}, {unit_in_words(figure)}" for figure in swept}
    shown, all_of_them = _shown_frequencies(swept), {figure.frequency_hz for figure in swept}
    at = common_to(entry.conditions_of(figure) for figure in swept).without(usual)
    return Table(
        f"Against frequency, {entry.step}: {at}",
        heads("frequency", numbers=[names[column] for column in columns]),
        tuple(
            (Cell(render(hertz, "Hz")), *(_told(cells.get((hertz, column))) for column in columns)) for hertz in shown
        ),
        note=f"{len(shown)} of {len(all_of_them)} frequencies" if len(shown) < len(all_of_them) else "",
    )


def _shown_frequencies(swept: Sequence[Figure]) -> list[float]:
    """Some of the frequencies, evenly spread, with 1 kHz if it is there; and each whose verdict is not a pass."""
    frequencies_hz = sorted({figure.frequency_hz for figure in swept if figure.frequency_hz})
    every = math.ceil(len(frequencies_hz) / _MOST_FREQUENCIES)
    kept = frequencies_hz.index(1000.0) % every if 1000.0 in frequencies_hz else 0
    amiss = {figure.frequency_hz for figure in swept if figure.frequency_hz and _is_amiss(figure)}
    return sorted({*frequencies_hz[kept::every], *amiss})


def _is_amiss(figure: Figure) -> bool:
    return figure.verdict not in ("", "passes")


def _told(figure: Figure | None) -> Cell:
    """The value, and in words what is special about it."""
    if figure is None:
        return Cell()
    words = value_in_words(figure)
    return Cell(f"{words} {figure.verdict}" if _is_amiss(figure) else words, look_of(figure.verdict))


def _other_table(entries: Sequence[FiguresEntry], usual: Conditions) -> Table:
    """Everything that is in no other table."""
    others = [entry if entry.analysis not in _TABULATED else _only_halves(entry) for entry in entries]
    return _figures_table("Also measured", others, usual)


def _only_halves(entry: FiguresEntry) -> FiguresEntry:
    """What the halves of a bridged pair give and see, which no other table shows."""
    return replace(entry, figures=[figure for figure in entry.figures if figure.name in _OF_HALVES])


def _unconfirmed_table(confirmations: Sequence[Confirmation]) -> rich_table.Table:
    """What did not confirm the safe state, and what a person does about it."""
    columns = heads("instrument", "part", "it says", "by hand")
    table = _empty("NOT SAFE: to be switched off by hand, now", columns)
    table.title_style = table.style = table.border_style = table.header_style = "bold red"
    for each in confirmations:
        if not each.confirmed:
            table.add_row(each.instrument, each.part, each.detail, each.by_hand)
    return table
